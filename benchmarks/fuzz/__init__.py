"""Hostile and damaged input for everything that reads what it did not write; see ``__main__``."""
