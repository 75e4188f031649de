"""Which bearing is rebuilt in which outage: numbers in, values out, no Django."""
