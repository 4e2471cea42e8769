"""What a link loses by chance, told from the gaps that it left."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from analysis.board.rules.thresholds import SILENT, SilentLimits
from replay.event import NS_PER_S


def chance_ns(gaps: npt.NDArray[np.int64], limits: SilentLimits) -> int:
    """How long losses by chance last, ns, on a link that left these ``gaps``, ns; 0 where they are
    too few to know.

    Losses are taken to be independent: of ``n`` notifications an hour of which a share ``p`` is
    lost, ``n (1 - p) p**(k + 1)`` begin a run of more than ``k`` losses.
    """
    if len(gaps) < limits.counted_least:
        return 0
    usual_ns, most, share = _losses(gaps, limits)
    begins_per_h = 3600 * NS_PER_S / usual_ns * (1 - share)
    in_a_row = 0
    if begins_per_h * share > limits.per_h:
        # Solved, not counted: notifications of one instant make the spacing next to nothing.
        in_a_row = min(math.ceil(math.log(limits.per_h / begins_per_h) / math.log(share)) - 1, most)
    return round((in_a_row + 1 + limits.wavers) * usual_ns)


def lost_share(gaps: npt.NDArray[np.int64], limits: SilentLimits = SILENT) -> float:
    """Share of its notifications that a link which left these ``gaps``, ns, loses by chance."""
    return _losses(gaps, limits)[2] if len(gaps) else 0.0


def _losses(gaps: npt.NDArray[np.int64], limits: SilentLimits) -> tuple[float, int, float]:
    """The single spacing, ns, how many in a row may be lost by chance, and the share lost."""
    # Where half is lost the middle one is no single spacing any more.
    usual_ns = max(float(np.quantile(gaps, 0.25)), 1.0)
    most = max(limits.most_lost, int(limits.most_s * NS_PER_S / usual_ns) - 2)
    lost = np.rint(gaps / usual_ns) - 1
    lost = lost[(lost >= 0) & (lost <= most)]
    return usual_ns, most, float(lost.sum() / (len(lost) + lost.sum() + limits.prior_kept))
