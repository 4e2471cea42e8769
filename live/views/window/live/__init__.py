"""The window on a session as it happens: cards, warnings, far view, status."""
