"""A broker that is away is one warning, whatever it carries; its sensors are not told apart."""

from __future__ import annotations

from dataclasses import replace
from math import sin

import pytest

from analysis.board.snapshot import Severity
from analysis.board.snapshot import WarningKind as K
from replay import event as ev
from replay.event import Event
from tests.standins.session_events import S, link, plan_of, planned, play, stream

WHY = "The broker at gym:1883 cannot be reached: nothing listens on port 1883."


def over_mqtt(label, role="test"):
    return replace(planned(label, role), source="mqtt", topic=f"gym/{label}", kind="")


def advice(t_s, sensor, text):
    return Event(round(t_s * S), sensor, ev.ADVICE, text.encode())


PLAN = plan_of(over_mqtt("Yarrow", "reference"), over_mqtt("Sorrel"), planned("Tansy"))
BOTH = (1, 2)


def away(from_s, until_s):
    """The broker is lost, with its sentence, and found again."""
    return [
        *(link(from_s, n, "adapter off") for n in BOTH),
        *(advice(from_s, n, WHY) for n in BOTH),
        *(link(until_s, n, "searching") for n in BOTH),
    ]


def sent(sensor, *spans):
    """Readings once a second in these spans of seconds, of a heart that moves."""
    return [
        event
        for start, end in spans
        for event in stream(
            sensor, start + 0.1 * sensor, end, lambda t: 120 + 8 * sin(t / 9 + sensor / 9)
        )
    ]


def kinds(board):
    return [(w.kind, w.sensor) for w in board.warnings]


def test_from_the_start_it_is_one_warning_with_the_sentence_of_its_source() -> None:
    """Neither sensor is called not started, nor the reference lost; the advice is the source's."""
    board = play(PLAN, away(0.5, 300.0), sent(3, (0, 100)), until_s=100)
    assert kinds(board) == [(K.BROKER_AWAY, 0)]
    (warning,) = board.warnings
    assert (warning.severity, warning.start_s) == (Severity.SESSION_FAULT, 3)
    assert warning.advice == WHY
    assert warning.cause == (
        "The broker has been out of reach for 100 s: nothing of Yarrow, Sorrel can be heard."
    )


def test_in_mid_session_it_explains_the_silence_and_ends_with_it() -> None:
    """Lost for a minute, found again: one warning, cleared; what is silent after that is told."""
    streams = [sent(1, (0, 60), (121, 200)), sent(2, (0, 60)), sent(3, (0, 200))]
    board = play(PLAN, *streams, away(60.5, 120.0), until_s=200)
    broker, silent = board.warnings
    assert (broker.kind, broker.since_s, broker.start_s, broker.end_s) == (
        K.BROKER_AWAY, 60, 63, 125,
    )  # fmt: skip
    assert broker.cause.startswith("The broker has been out of reach for 59 s: ")
    assert broker.cleared == "The broker can be reached again."
    assert (silent.kind, silent.sensor, silent.end_s) == (K.SILENT, 2, None)


@pytest.mark.parametrize("which", BOTH)
def test_one_topic_that_is_lost_is_no_broker_that_is_away(which) -> None:
    """While one of its sensors is linked, the broker is there."""
    streams = [sent(number, (0, 60)) for number in (1, 2, 3)]
    board = play(PLAN, *streams, [link(20, which, "adapter off")], until_s=60)
    assert kinds(board) == []


def test_a_link_that_is_down_is_advised_by_its_source() -> None:
    """Not started and silent repeat what the source says of a link that is not up."""
    plan = plan_of(
        planned("Yarrow", "reference"),
        planned("Sorrel", source="bluetooth", kind="", name="Sorrel"),
    )
    said = "Sorrel has been seen, but refuses: end the app that holds it."
    lost = [link(1, 2, "lost"), advice(1, 2, said)]
    (warning,) = play(plan, sent(1, (0, 60)), lost, until_s=60).warnings
    assert (warning.kind, warning.advice) == (K.NOT_STARTED, said)
    lost = [link(30.5, 2, "lost"), advice(30.6, 2, said)]
    (warning,) = play(plan, sent(1, (0, 90)), sent(2, (0, 30)), lost, until_s=90).warnings
    assert (warning.kind, warning.advice) == (K.SILENT, said)


def test_what_the_broker_does_not_explain_is_told_as_ever() -> None:
    """A sensor that comes by radio and falls silent; a battery that was low before."""
    low = Event(round(20.5 * S), 2, ev.BATTERY, b"\x05")
    streams = [sent(1, (0, 30)), sent(2, (0, 30)), sent(3, (0, 60))]
    board = play(PLAN, *streams, [low], away(30.5, 300.0), until_s=100)
    told = [(w.kind, w.sensor, w.end_s) for w in board.warnings]
    assert told == [(K.LOW_BATTERY, 2, None), (K.BROKER_AWAY, 0, None), (K.SILENT, 3, None)]
    late = Event(round(40.5 * S), 2, ev.BATTERY, b"\x05")
    board = play(PLAN, *streams, [late], away(30.5, 300.0), until_s=100)
    assert (K.LOW_BATTERY, 2) in kinds(board)
