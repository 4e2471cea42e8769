"""Calling the tester to a warning: when, and by which means (sounds, a command, MQTT)."""
