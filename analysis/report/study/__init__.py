"""A study in words and as plain values."""
