"""What counts as a rise of the heart rate, in a whole session and while it goes on.

Apart from :mod:`analysis.statistics.efforts`, because a live view needs these two and none of what
that loads.
"""

from __future__ import annotations

from typing import Final

LEAST_RISE_BPM: Final = 15.0
"""Prominence.  Three times the usual tolerance: drift and breathing in a steady effort stay
below it, and a kettlebell set of 20 s above."""
EDGE: Final = 0.10
"""An effort starts, and has returned, at a tenth of its rise above the level around it."""
