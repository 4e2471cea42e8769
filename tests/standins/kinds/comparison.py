"""Cases of sensors beside each other."""

from __future__ import annotations

from typing import Final

from analysis.board.snapshot import Measure
from analysis.board.snapshot import WarningKind as K
from tests.standins.kinds.case import ON_AN_ARM, PRESENT, WITH_STRIDES, Case
from tests.standins.kinds.streams import (
    SORREL,
    STRAP,
    TANSY,
    cut,
    heart,
    held,
    late,
    near,
    own,
    steps,
    swapped,
)
from tests.standins.session_events import stream

COMPARISON: Final[dict[K, Case]] = {
    K.FROZEN: Case(
        made=lambda bad: [STRAP, TANSY, held(400 if bad else 9)],
        since_s=1,
        raised_s=38,
        over_s=152,
        told="Sorrel has shown 121 bpm unchanged for 149 s, while Yarrow moved by 5 bpm or more.",
        cleared="Its value moves again: 105 bpm.",
        forgets=False,
        why_not="how long it has stood still is a fact that a silence in between does not change",
        measures=(
            Measure("readings without a change", 149, "", 10),
            Measure("time without a change", 149, "s", 8),
            Measure("longest usual run of readings", 0, ""),
            Measure("movement of the others", 5.4, "bpm", 5.0),
            Measure("repeated RR in a row", 0, "", 12),
        ),
    ),
    K.OUTVOTED_REFERENCE: Case(
        made=lambda bad: [
            stream(1, 0.4, 400, lambda t: heart(t) + ((40 if bad else 8) if t < 150 else 0)),
            SORREL,
            TANSY,
        ],
        sensor=1,
        since_s=1,
        raised_s=25,
        over_s=170,
        told=(
            "Sorrel and Tansy agree with each other at 106 bpm and not with Yarrow (reference),"
            " which shows 143: the reference is the suspect."
        ),
        cleared="The sensors that agreed with each other no longer stand against it.",
        measures=(
            Measure("time outvoted", 25, "s", 25),
            Measure("sensors against it", 2, "", 2),
            Measure("their mean", 106.5, "bpm"),
            Measure("the reference", 143.0, "bpm"),
        ),
    ),
    K.ON_CADENCE: Case(
        made=lambda bad: [STRAP, TANSY, near(168 if bad else 174.2), steps()],
        since_s=1,
        raised_s=28,
        over_s=165,
        told=(
            "Sorrel has followed the cadence of 168 a minute for 150 s: 169 bpm, while Yarrow "
            "shows 104."
        ),
        cleared="It has left the cadence: 96 bpm.",
        plan=WITH_STRIDES,
        measures=(
            Measure("evidence", 28.0, "s", 28.0),
            Measure("cadence", 168.0, "1/min"),
            Measure("multiple", 1.0, ""),
            Measure("difference to Yarrow", 65.0, "bpm"),
        ),
    ),
    K.REFERENCE_LOST: Case(
        made=lambda bad: [
            [*stream(1, 0.4, 35 if bad else 9, 0), *own(1, 35 if bad else 9, 400)],
            SORREL,
            TANSY,
        ],
        sensor=1,
        since_s=1,
        raised_s=10,
        over_s=38,
        told="Yarrow (reference) has given no valid value for 35 s, while Sorrel and Tansy go on.",
        cleared="The reference has a value again: 142 bpm.",
        forgets=False,
        why_not=PRESENT,
        plan=ON_AN_ARM,
        measures=(
            Measure("time without a value", 35, "s", 10),
            Measure("malformed notifications", 0, ""),
        ),
    ),
    K.SWAPPED_LABELS: Case(
        made=lambda bad: swapped(7 if bad else 1.5),
        since_s=917,
        raised_s=917,
        over_s=1517,
        told=(
            "Sorrel shows 3 of 4 efforts before Yarrow, by 7 s in the middle: are Yarrow and "
            "Sorrel swapped in the plan?"
        ),
        cleared="It no longer leads Yarrow.",
        until_s=2200,
        measures=(
            Measure("efforts it leads", 3, "", 3),
            Measure("lead", 6.5004, "s", 2.0),
        ),
    ),
    K.LATE: Case(
        made=lambda bad: late(16 if bad else 12),
        since_s=62,
        raised_s=610,
        over_s=907,
        told="Sorrel follows Yarrow 16 s late in 2 of 2 efforts.",
        cleared="It follows within 4 s again.",
        until_s=2000,
        measures=(
            Measure("delay", 16, "s", 14.0),
            Measure("spread at that delay", 0.1933, "bpm"),
            Measure("spread without it", 1.5616, "bpm"),
        ),
    ),
    K.APART: Case(
        made=lambda bad: [
            STRAP,
            TANSY,
            [*own(2, 0, 150, off=-40 if bad else -5), *cut(SORREL, 150, 400)],
        ],
        since_s=1,
        raised_s=52,
        over_s=191,
        told=(
            "Sorrel has been outside the tolerance of Yarrow for at least 150 s since 0:01, "
            "below it, by 39 bpm in the middle."
        ),
        cleared="It has agreed with Yarrow in at least 41 of 45 s.",
        measures=(
            Measure("time apart", 150, "s", 52),
            Measure("watched for", 190, "s"),
            Measure("difference in the middle", 39.0, "bpm"),
            Measure("tolerance", 5.0, "bpm"),
            Measure("tolerance", 10.0, "%"),
        ),
    ),
}
