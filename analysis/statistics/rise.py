"""What counts as a rise of the heart rate, in a whole session and while it goes on.

Apart from :mod:`analysis.statistics.efforts`, because a live view needs these and none of what
that loads.
"""

from __future__ import annotations

from typing import Final

LEAST_RISE_BPM: Final = 15.0
"""Prominence.  Three times the usual tolerance: of 21 straps on hearts at rest none rises so far,
where three rise by 10 bpm, and a kettlebell set of 20 s does."""
AT_WORK_BPM: Final = 110.0
"""No heart at rest of those comes up to this."""
LEAST_RISE_AT_WORK_BPM: Final = 10.0
"""A heart at work no longer swings with the breath, and what drifts in steady work stays below;
30 s hard and 30 s easy move it by 11 to 21 bpm."""
EDGE: Final = 0.10
"""An effort starts, and has returned, at a tenth of its rise above the level around it."""


def least_rise_bpm(top_bpm: float) -> float:
    """What a rise to this heart rate, or a fall from it, must have to count.

    >>> least_rise_bpm(85.0), least_rise_bpm(150.0)
    (15.0, 10.0)
    """
    return LEAST_RISE_BPM if top_bpm < AT_WORK_BPM else LEAST_RISE_AT_WORK_BPM
