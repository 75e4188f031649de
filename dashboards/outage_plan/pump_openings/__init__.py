"""Pumps by their first opening: numbers in, numbers out, no Django. Not in force yet: the pages plan by `bearing_jobs`."""
