"""Cases of sensors, links and the capturing computer."""

from __future__ import annotations

from typing import Final

from analysis.board.snapshot import Measure
from analysis.board.snapshot import WarningKind as K
from replay import event as ev
from tests.standins.kinds.case import OVER_MQTT, PRESENT, Case
from tests.standins.kinds.streams import (
    SORREL,
    SOUND,
    STRAP,
    TANSY,
    cut,
    sensor_byte,
    session_event,
)
from tests.standins.session_events import link

LINKS: Final[dict[K, Case]] = {
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
        why_not=PRESENT,
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
        why_not=PRESENT,
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
        why_not=PRESENT,
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
        why_not=PRESENT,
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
        why_not=PRESENT,
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
        why_not=PRESENT,
        measures=(
            Measure("age of the newest notification", 89.3, "s", 5.0),
            Measure("malformed notifications", 0, ""),
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
}
