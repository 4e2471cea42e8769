"""Looking at a capture afterwards: what was sent, what was made of it, and what the tester notes.

Plain values and functions without any screen; the window shows them, the reports use the same
rules for exclusions.
"""
