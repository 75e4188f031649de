"""What a mechanic starts from: the visits that stand open, and what is wanted opened now."""
