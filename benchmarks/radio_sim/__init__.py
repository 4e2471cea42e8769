"""Sessions over a played BlueZ in which faults are provoked, and what they cost."""
