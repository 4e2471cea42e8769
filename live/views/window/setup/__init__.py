"""The set-up page of the window: who wears what, the checks, and the start."""
