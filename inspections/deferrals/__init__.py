"""Work put off and pumps opened outside an outage: whose word is needed, who has given it, what stands."""
