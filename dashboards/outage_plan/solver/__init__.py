"""When each pump is opened next: numbers in, numbers out, no Django."""
