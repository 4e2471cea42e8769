"""The command `sidebeat`."""
