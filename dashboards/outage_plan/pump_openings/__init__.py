"""Pumps by their first opening: numbers and judgements in, a plan and what it does out, no Django."""
