"""The window on a recorded session: player, inspector, numbers and notes."""
