"""The board: a pure state machine that turns events into agreement and warnings."""
