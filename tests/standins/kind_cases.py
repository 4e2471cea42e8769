"""For each kind of warning: a session with the fault from the first second, one with a little less
of it, and what must be said.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

from analysis.board.snapshot import WarningKind as K
from replay import event as ev
from replay.plan import Plan
from tests.standins.kind_streams import (
    SORREL,
    SOUND,
    STRAP,
    TANSY,
    Streams,
    alike,
    beats,
    changed,
    cut,
    heart,
    held,
    late,
    missing,
    near,
    off_skin,
    own,
    sensor_byte,
    session_event,
    steps,
    swapped,
)
from tests.standins.session_events import link, plan_of, planned, strap, stream

PLAN: Final = plan_of(
    planned("Yarrow", "reference", placement="chest"),
    planned("Sorrel", placement="left wrist"),
    planned("Tansy", placement="right wrist"),
)
WITH_STRIDES: Final = plan_of(*PLAN.sensors, planned("Strides", "companion"))
ON_AN_ARM: Final = plan_of(
    planned("Yarrow", "reference", placement="upper arm", kind="arm"), *PLAN.sensors[1:]
)

OVER_MQTT: Final = plan_of(
    PLAN.sensors[0],
    *(
        replace(one, source="mqtt", topic=f"gym/{one.label}/hr", address="", name="")
        for one in PLAN.sensors[1:]
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """``made``: the streams, with the fault or with what is just not one.  ``sensor``: whose.

    ``raised_s``, ``over_s``: earliest and latest second of raising and of the end, narrow, so that
    a threshold that moves is noticed.  ``told``, ``cleared``: patterns of the two sentences.
    ``forgets``: whether :meth:`Rule.reset` takes the evidence away; else why there is none to
    forget.  ``known_from_s``: where the fault begins, for what can only be told against a sensor's
    own past.
    """

    made: Callable[[bool], Streams]
    raised_s: tuple[int, int]
    over_s: tuple[int, int]
    told: str
    cleared: str
    sensor: int = 2
    forgets: bool = True
    why_not: str = ""
    known_from_s: int = 0
    until_s: int = 400
    plan: Plan = PLAN


_PRESENT = "it judges what is so now, and keeps nothing"

CASES: Final[dict[K, Case]] = {
    K.DISK_LOW: Case(
        made=lambda bad: [
            *SOUND,
            [
                session_event(0.5, ev.DISK, 199_900_000 if bad else 200_000_000),
                session_event(100.5, ev.DISK, 300_000_000),
            ],
        ],
        sensor=0,
        raised_s=(1, 1),
        over_s=(101, 101),
        told=r"^200 MB are left where the capture is written\.$",
        cleared=r"^There is room again: 300 MB\.$",
        forgets=False,
        why_not=_PRESENT,
    ),
    K.CLOCK_JUMP: Case(
        made=lambda bad: [
            *SOUND,
            [session_event(0.5, ev.JUMP, -500_000_000 if bad else -499_000_000)],
        ],
        sensor=0,
        raised_s=(1, 1),
        over_s=(61, 61),
        told=r"clock moved by -0\.5 s against the capture's: it slept, or its clock was set\.$",
        cleared=r"^The clock has been steady for 60 s\.$",
        forgets=False,
        why_not="a step is over at once; its warning stands to be seen",
    ),
    K.CAPTURE_LATE: Case(
        made=lambda bad: [
            *SOUND,
            [session_event(0.5, ev.LATE, 200_000_000 if bad else 199_000_000)],
        ],
        sensor=0,
        raised_s=(1, 1),
        over_s=(11, 11),
        told=r"^The capture was held up for 0\.2 s: stamps of that moment are doubtful",
        cleared=r"^The capture has kept up for 10 s\.$",
        forgets=False,
        why_not="a hold-up is over at once; its warning stands to be seen",
    ),
    K.LOW_BATTERY: Case(
        made=lambda bad: [
            *SOUND,
            [sensor_byte(0.5, ev.BATTERY, 15 if bad else 16), sensor_byte(100, ev.BATTERY, 20)],
        ],
        raised_s=(1, 1),
        over_s=(100, 100),
        told=r"^Sorrel reports 15 % of charge\.$",
        cleared=r"^It reports 20 % of charge\.$",
        forgets=False,
        why_not=_PRESENT,
    ),
    K.WEAK_SIGNAL: Case(
        made=lambda bad: [
            *SOUND,
            [
                sensor_byte(t + 0.5, ev.SIGNAL, (-90 if bad else -89) if t < 100 else -85)
                for t in range(400)
            ],
        ],
        raised_s=(9, 11),
        over_s=(109, 111),
        told=r"^Sorrel is heard at -90 dBm, near the limit",
        cleared=r"^It is heard at -85 dBm\.$",
        forgets=False,
        why_not=_PRESENT,
    ),
    K.BROKER_AWAY: Case(
        plan=OVER_MQTT,
        made=lambda bad: [
            STRAP,
            [
                *(link(0.5, number, "adapter off") for number in (2, 3)),
                *(link(100.5 if bad else 2.5, number, "searching") for number in (2, 3)),
            ],
        ],
        sensor=0,
        raised_s=(3, 3),
        over_s=(106, 106),
        told=r"^The broker has been out of reach for 100 s: nothing of Sorrel, Tansy can be "
        r"heard\.$",
        cleared=r"^The broker can be reached again\.$",
        forgets=False,
        why_not=_PRESENT,
    ),
    K.NOT_STARTED: Case(
        made=lambda bad: [STRAP, TANSY, cut(SORREL, 60 if bad else 7, 400)],
        raised_s=(8, 8),
        over_s=(62, 62),
        told=r"^Sorrel is planned, but has not been heard in (5\d|60) s \(link: ",
        cleared=r"^First heard after 6[01] s\.$",
        forgets=False,
        why_not=_PRESENT,
    ),
    K.SILENT: Case(
        made=lambda bad: [
            STRAP,
            TANSY,
            [*cut(SORREL, 0, 1), *cut(SORREL, 90 if bad else 5.5, 400)],
        ],
        raised_s=(6, 6),
        over_s=(94, 94),
        told=r"^Sorrel has sent nothing readable for (8\d|90) s\.$",
        cleared=r"^Notifications arrive again, after at most 9\d s\.$",
        forgets=False,
        why_not=_PRESENT,
    ),
    K.NO_CONTACT: Case(
        made=lambda bad: [STRAP, TANSY, off_skin(20 if bad else 2)],
        raised_s=(42, 44),
        over_s=(105, 107),
        told=r"^Sorrel says that it has had no skin contact for \d\d s\.$",
        cleared=r"^Contact is back: \d+ bpm\.$",
        known_from_s=40,  # until then it is acquiring
    ),
    K.SAME_SENSOR: Case(
        made=lambda bad: [STRAP, TANSY, alike(10_000 if bad else 8)],
        raised_s=(9, 11),
        over_s=(179, 181),
        told=r"^Sorrel and Yarrow \(?.*are the same sensor: its last \d+ readings were the same",
        cleared=r"^Their readings differ again\.$",
        forgets=False,
        why_not="no other warning explains it, so that it is never asked to forget",
    ),
    K.RELAY: Case(
        made=lambda bad: [
            STRAP,
            TANSY,
            [
                *changed(cut(STRAP, 0, 150), later_s=0.45, ticks=0 if bad else 3, sensor=2),
                *strap(beats(249, seed=9), sensor=2, start_s=151),
            ],
        ],
        raised_s=(9, 15),
        over_s=(189, 195),
        told=r"^Sorrel only repeats the (RR intervals|values) of Yarrow, 0\.[45] s later",
        cleared=r"^It shows values of its own again\.$",
        forgets=False,
        why_not="what both have sent is kept by their streams, and stays true",
    ),
    K.FROZEN: Case(
        made=lambda bad: [STRAP, TANSY, held(400 if bad else 9)],
        raised_s=(37, 39),
        over_s=(151, 153),
        told=r"^Sorrel has shown 121 bpm unchanged for 14\d s, while Yarrow moved by \d+ bpm",
        cleared=r"^Its value moves again: \d+ bpm\.$",
        forgets=False,
        why_not="how long it has stood still is a fact that a silence in between does not change",
    ),
    K.LOOSE_REFERENCE: Case(
        made=lambda bad: [
            strap(missing(beats(400), 9, 300) if bad else missing(beats(400), 130, 10_000)),
            SORREL,
            TANSY,
        ],
        sensor=1,
        raised_s=(5, 11),
        over_s=(155, 161),
        told=r"^Yarrow \(reference\) reads badly: \d+ bad beats among the last \d+, the newest ",
        cleared=r"^No bad beat for 30 s\.$",
    ),
    K.OUTVOTED_REFERENCE: Case(
        made=lambda bad: [
            stream(1, 0.4, 400, lambda t: heart(t) + ((40 if bad else 8) if t < 150 else 0)),
            SORREL,
            TANSY,
        ],
        sensor=1,
        raised_s=(24, 26),
        over_s=(169, 171),
        told=r"^Sorrel and Tansy agree with each other at \d+ bpm and not with Yarrow",
        cleared=r"^The sensors that agreed with each other no longer stand against it\.$",
    ),
    K.ON_CADENCE: Case(
        made=lambda bad: [STRAP, TANSY, near(168 if bad else 174.2), steps()],
        raised_s=(27, 29),
        over_s=(164, 166),
        told=r"^Sorrel has followed the cadence of 168 a minute for \d+ s: 16[789] bpm, while ",
        cleared=r"^It has left the cadence: \d+ bpm\.$",
        plan=WITH_STRIDES,
    ),
    K.REFERENCE_LOST: Case(
        made=lambda bad: [
            [*stream(1, 0.4, 35 if bad else 9, 0), *own(1, 35 if bad else 9, 400)],
            SORREL,
            TANSY,
        ],
        sensor=1,
        raised_s=(9, 11),
        over_s=(37, 39),
        told=r"has given no valid value for 3\d s, while Sorrel and Tansy go on\.$",
        cleared=r"^The reference has a value again: 1\d\d bpm\.$",
        forgets=False,
        why_not=_PRESENT,
        plan=ON_AN_ARM,
    ),
    K.SWAPPED_LABELS: Case(
        made=lambda bad: swapped(7 if bad else 1.5),
        raised_s=(914, 920),
        over_s=(1514, 1520),
        told=r"^Sorrel shows \d of \d efforts before Yarrow, by \d s in the middle: are Yarrow",
        cleared=r"^It no longer leads Yarrow\.$",
        until_s=2200,
    ),
    K.LATE: Case(
        made=lambda bad: late(16 if bad else 12),
        raised_s=(607, 613),
        over_s=(904, 910),
        told=r"^Sorrel follows Yarrow 1[56] s late in \d of (the last )?\d efforts\.$",
        cleared=r"^It (has followed the last effort in time|follows within \d+ s again)\.$",
        until_s=2000,
    ),
    K.APART: Case(
        made=lambda bad: [
            STRAP,
            TANSY,
            [*own(2, 0, 150, off=-40 if bad else -5), *cut(SORREL, 150, 400)],
        ],
        raised_s=(51, 53),
        over_s=(190, 192),
        told=r"^Sorrel has been outside the tolerance of Yarrow for at least \d+ s since 0:",
        cleared=r"^It has agreed with Yarrow in at least 41 of 45 s\.$",
    ),
    K.THINNING: Case(
        made=lambda bad: [
            STRAP,
            TANSY,
            [
                one
                for k, one in enumerate(SORREL)
                if not 60 <= k < 150 or k % (2 if bad else 3) != 1
            ],
        ],
        raised_s=(79, 81),
        over_s=(165, 167),
        told=r"^Sorrel sends 0\.\d readings a second instead of its usual 1\.0\.$",
        cleared=r"^It sends \d\.\d readings a second again\.$",
        known_from_s=60,
    ),
    K.UNIT_SLIP: Case(
        made=lambda bad: [
            [
                *changed(cut(STRAP, 0, 160), factor=1.024 if bad else 1.008, sensor=1),
                *cut(STRAP, 160, 400),
            ],
            SORREL,
            TANSY,
        ],
        sensor=1,
        raised_s=(107, 113),
        over_s=(223, 229),
        told=r"^The RR of Yarrow \(reference\) are 1\.024 of what the time that passed allows",
        cleared=r"^Its RR fill the time that passes again\.$",
    ),
}
