"""The report of one session: its numbers, its figures, and one page that holds them all."""
