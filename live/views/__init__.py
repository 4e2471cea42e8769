"""What shows a session: the feed that all views read, and the terminal view."""
