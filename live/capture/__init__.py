"""The capture process: it stamps, saves and hands events on."""
