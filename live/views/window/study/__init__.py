"""The page behind many sessions: what a study says, and the way to each of its sessions."""
