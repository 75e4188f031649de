"""The plan in force, jobs by bearing: numbers in, values out, no Django."""
