"""Arrays to estimates with intervals; numpy and scipy only, and no prose."""
