"""What a board's warnings are worth, whichever generator made the sessions."""
