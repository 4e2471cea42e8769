"""The window; the only place where Qt is imported."""
