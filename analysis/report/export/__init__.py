"""What a capture holds, as tables for other programs, with a dictionary of their columns."""
