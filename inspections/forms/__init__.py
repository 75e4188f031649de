"""Forms of what is typed at a bearing."""
