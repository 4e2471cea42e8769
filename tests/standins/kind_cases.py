"""For each kind of warning: a session with the fault from the first second, one with a little less
of it, and what must be said.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

from analysis.board.snapshot import Measure
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

    ``since_s``, ``raised_s``, ``over_s``: the seconds of its beginning, of raising and of the end.
    ``told``, ``cleared``: the two sentences.  ``measures``: the values behind, as of the newest
    second at which the fault was there.  All exact, so that a threshold that moves is noticed.
    ``forgets``: whether :meth:`Rule.reset` takes the evidence away; else why there is none to
    forget.  ``known_from_s``: where the fault begins, for what can only be told against a sensor's
    own past.
    """

    made: Callable[[bool], Streams]
    since_s: int
    raised_s: int
    over_s: int
    told: str
    cleared: str
    measures: tuple[Measure, ...]
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
        since_s=1,
        raised_s=1,
        over_s=101,
        told="200 MB are left where the capture is written.",
        cleared="There is room again: 300 MB.",
        forgets=False,
        why_not=_PRESENT,
        measures=(Measure("free space", 199.9, "MB", 200.0),),
    ),
    K.CLOCK_JUMP: Case(
        made=lambda bad: [
            *SOUND,
            [session_event(0.5, ev.JUMP, -500_000_000 if bad else -499_000_000)],
        ],
        sensor=0,
        since_s=0,
        raised_s=1,
        over_s=61,
        told=(
            "The computer's clock moved by -0.5 s against the capture's: it slept, or its clock"
            " was set."
        ),
        cleared="The clock has been steady for 60 s.",
        forgets=False,
        why_not="a step is over at once; its warning stands to be seen",
        measures=(Measure("step of the clock", -0.5, "s", 0.5),),
    ),
    K.CAPTURE_LATE: Case(
        made=lambda bad: [
            *SOUND,
            [session_event(0.5, ev.LATE, 200_000_000 if bad else 199_000_000)],
        ],
        sensor=0,
        since_s=0,
        raised_s=1,
        over_s=11,
        told="The capture was held up for 0.2 s: stamps of that moment are doubtful by as much.",
        cleared="The capture has kept up for 10 s.",
        forgets=False,
        why_not="a hold-up is over at once; its warning stands to be seen",
        measures=(Measure("held up for", 0.2, "s", 0.2),),
    ),
    K.LOW_BATTERY: Case(
        made=lambda bad: [
            *SOUND,
            [sensor_byte(0.5, ev.BATTERY, 15 if bad else 16), sensor_byte(100, ev.BATTERY, 20)],
        ],
        since_s=1,
        raised_s=1,
        over_s=100,
        told="Sorrel reports 15 % of charge.",
        cleared="It reports 20 % of charge.",
        forgets=False,
        why_not=_PRESENT,
        measures=(Measure("charge", 15, "%", 15),),
    ),
    K.WEAK_SIGNAL: Case(
        made=lambda bad: [
            *SOUND,
            [
                sensor_byte(t + 0.5, ev.SIGNAL, (-90 if bad else -89) if t < 100 else -85)
                for t in range(400)
            ],
        ],
        since_s=1,
        raised_s=10,
        over_s=110,
        told="Sorrel is heard at -90 dBm, near the limit of what can be received.",
        cleared="It is heard at -85 dBm.",
        forgets=False,
        why_not=_PRESENT,
        measures=(Measure("signal strength", -90, "dBm", -90),),
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
        since_s=0,
        raised_s=3,
        over_s=106,
        told=("The broker has been out of reach for 100 s: nothing of Sorrel, Tansy can be heard."),
        cleared="The broker can be reached again.",
        forgets=False,
        why_not=_PRESENT,
        measures=(Measure("time without the broker", 100, "s", 3),),
    ),
    K.NOT_STARTED: Case(
        made=lambda bad: [STRAP, TANSY, cut(SORREL, 60 if bad else 7, 400)],
        since_s=0,
        raised_s=8,
        over_s=62,
        told="Sorrel is planned, but has not been heard in 60 s (link: waiting).",
        cleared="First heard after 61 s.",
        forgets=False,
        why_not=_PRESENT,
        measures=(Measure("time without a notification", 60, "s", 8),),
    ),
    K.SILENT: Case(
        made=lambda bad: [
            STRAP,
            TANSY,
            [*cut(SORREL, 0, 1), *cut(SORREL, 90 if bad else 5.5, 400)],
        ],
        since_s=0,
        raised_s=6,
        over_s=94,
        told="Sorrel has sent nothing readable for 89 s.",
        cleared="Notifications arrive again, after at most 93 s.",
        forgets=False,
        why_not=_PRESENT,
        measures=(
            Measure("age of the newest notification", 89.3, "s", 5.0),
            Measure("malformed notifications", 0, ""),
        ),
    ),
    K.NO_CONTACT: Case(
        made=lambda bad: [STRAP, TANSY, off_skin(20 if bad else 2)],
        since_s=41,
        raised_s=43,
        over_s=106,
        told="Sorrel says that it has had no skin contact for 62 s.",
        cleared="Contact is back: 138 bpm.",
        known_from_s=40,  # until then it is acquiring
        measures=(
            Measure("seconds without contact", 62, "s", 3),
            Measure("bpm sent", 139.0, "bpm"),
        ),
    ),
    K.SAME_SENSOR: Case(
        made=lambda bad: [STRAP, TANSY, alike(10_000 if bad else 8)],
        since_s=2,
        raised_s=10,
        over_s=180,
        told=(
            "Sorrel and Yarrow are the same sensor: its last 8 readings were the same at the "
            "same moment."
        ),
        cleared="Their readings differ again.",
        forgets=False,
        why_not="no other warning explains it, so that it is never asked to forget",
        measures=(Measure("equal readings in a row", 148, "", 15),),
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
        since_s=1,
        raised_s=12,
        over_s=192,
        told=(
            "Sorrel only repeats the RR intervals of Yarrow, 0.5 s later: its agreement with it"
            " says nothing."
        ),
        cleared="It shows values of its own again.",
        forgets=False,
        why_not="what both have sent is kept by their streams, and stays true",
        measures=(
            Measure("lag", 0.45, "s"),
            Measure("evidence of repetition", 0.0, "", 7.0),
        ),
    ),
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
    K.LOOSE_REFERENCE: Case(
        made=lambda bad: [
            strap(missing(beats(400), 9, 300) if bad else missing(beats(400), 130, 10_000)),
            SORREL,
            TANSY,
        ],
        sensor=1,
        since_s=3,
        raised_s=8,
        over_s=158,
        told=(
            "Yarrow (reference) reads badly: 8 bad beats among the 60 until 2:08, the newest "
            "missed (1011 ms beside 492 ms)."
        ),
        cleared="No bad beat for 30 s.",
        measures=(
            Measure("evidence of bad beats", 10.198, "", 8.8),
            Measure("bad beats among the last 60", 1, "beats"),
            Measure("time not filled by RR", 0.1133, "s", 0.9996),
            Measure("RR against bpm for", 0, "s"),
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
        why_not=_PRESENT,
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
        since_s=60,
        raised_s=80,
        over_s=166,
        told="Sorrel sends 0.6 readings a second instead of its usual 1.0.",
        cleared="It sends 0.9 readings a second again.",
        known_from_s=60,
        measures=(
            Measure("readings a second", 0.55, "1/s", 0.6),
            Measure("usual readings a second", 1.0, "1/s"),
        ),
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
        since_s=5,
        raised_s=110,
        over_s=226,
        told=(
            "The RR of Yarrow (reference) are 1.024 of what the time that passed allows (time "
            "over RR 0.980): they are in another unit."
        ),
        cleared="Its RR fill the time that passes again.",
        measures=(
            Measure("time that passed over sum of RR", 0.9804, "", 0.9766),
            Measure("rate by bpm over rate by RR", 1.0234, ""),
        ),
    ),
}
