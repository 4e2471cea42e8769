"""Cases of one sensor by itself: contact, beats, unit, repetition."""

from __future__ import annotations

from typing import Final

from analysis.board.snapshot import Measure
from analysis.board.snapshot import WarningKind as K
from tests.standins.kinds.case import Case
from tests.standins.kinds.streams import (
    SORREL,
    STRAP,
    TANSY,
    alike,
    beats,
    changed,
    cut,
    missing,
    off_skin,
)
from tests.standins.session_events import strap

READINGS: Final[dict[K, Case]] = {
    K.NO_CONTACT: Case(
        made=lambda bad: [STRAP, TANSY, off_skin(20 if bad else 2)],
        since_s=42,
        raised_s=44,
        over_s=106,
        told="Sorrel says that it has had no skin contact for 61 s.",
        cleared="Contact is back: 138 bpm.",
        known_from_s=40,  # until then it is acquiring
        measures=(
            Measure("seconds without contact", 61, "s", 3),
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
        over_s=232,
        told=(
            "The RR of Yarrow (reference) are 1.024 of what the time that passed allows (time "
            "over RR 0.984): they are in another unit."
        ),
        cleared="Its RR fill the time that passes again.",
        measures=(
            Measure("time that passed over sum of RR", 0.9842, "", 0.9766),
            Measure("rate by bpm over rate by RR", 1.0165, ""),
            Measure("evidence by when beats come", 6.0, "", 2.0),
        ),
    ),
}
