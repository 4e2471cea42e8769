"""Whether a delay shows on the way up and on the way down.

A sensor that is wrong by some bpm while the heart changes its rate looks late on that one change;
one that is late is late on rises, where it then lies below the reference, and on falls, where it
lies above.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt


def least_shown(
    reference_mbpm: npt.NDArray[np.int32],
    test_mbpm: npt.NDArray[np.int32],
    delay_s: int,
    least_energy: float,
) -> float:
    """The share of the delay's effect that shows, on rises or on falls: where it shows less.

    1 where the sensor does what the delay says, 0 where it follows at once.  ``test_mbpm``:
    int32[n]; ``reference_mbpm``: int32[n + delay_s], from so long before on; not positive in gaps.
    ``least_energy``: a side whose effect has a smaller sum of squares, bpm² s, tells nothing; 1
    where neither tells.  Each share is a regression through the origin of the difference to the
    reference of now on the effect, its own level at that delay taken off.
    """
    was, now = reference_mbpm[: len(test_mbpm)], reference_mbpm[delay_s:]
    there = (was > 0) & (now > 0) & (test_mbpm > 0)
    if not there.any():
        return 1.0
    before, at, test = (values[there] / 1000 for values in (was, now, test_mbpm))
    effect, shown = before - at, test - at - (test - before).mean()
    shares = [1.0]
    for side in (effect < 0, effect > 0):
        energy = float(effect[side] @ effect[side])
        if energy >= least_energy:
            shares.append(float(effect[side] @ shown[side]) / energy)
    return min(shares)
