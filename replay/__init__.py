"""Captures: what is stored, and giving it back exactly.

The lowest of the three packages: it knows events, plans, payloads and files, and nothing of
statistics, radios or screens.
"""
