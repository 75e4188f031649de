"""From a bearing's history to a date: numbers in, numbers out, no Django."""
