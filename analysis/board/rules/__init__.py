"""The warning rules, each a small pure state machine with its thresholds and their reasons."""
