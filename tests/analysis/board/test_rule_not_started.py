"""A planned sensor that has never been heard: until when it is waited for, and what is advised."""

from __future__ import annotations

import pytest

from analysis.board.rules.not_started import NotStarted
from replay import event as ev
from replay.event import Event
from tests.standins.session_events import S, hr, link, plan_of, planned, play

RADIO = {"source": "bluetooth", "kind": "", "name": "Sorrel"}
BROKER = {"source": "mqtt", "kind": "", "topic": "gym/sorrel/hr"}
SAID = "It has been seen, but belongs to another: end the app that holds it."


def _warned(*events, source=None, until_s=30):
    plan = plan_of(planned("Yarrow", "reference"), planned("Sorrel", **(source or {})))
    return play(
        plan, list(events), until_s=until_s, rules=lambda of: [NotStarted(of, of.tests[0])]
    ).warnings


def _advice(t_s: float, text: str) -> Event:
    return Event(round(t_s * S), 2, ev.ADVICE, text.encode())


@pytest.mark.parametrize("at_s", [0, 0.5, 7.9])
def test_one_that_was_heard_has_started(at_s) -> None:
    """In the very first instant, too; that it fell silent is another rule's."""
    assert _warned(hr(at_s, 2, 100)) == ()


@pytest.mark.parametrize(
    ("events", "source", "advice"),
    [
        ((), {}, "Switch it on, put it on the skin, start its broadcast, bring it near."),
        ((), BROKER, "Check that something publishes on 'gym/sorrel/hr'."),
        ((link(1, 2, "refused"),), RADIO, "Free it from other phones"),
        ((link(1, 2, "adapter off"),), RADIO, "Switch Bluetooth on."),
        ((link(1, 2, "searching"), _advice(2, SAID)), RADIO, SAID),
        ((link(1, 2, "refused"), _advice(2, SAID)), RADIO, SAID),
        ((_advice(1, SAID), link(2, 2, "streaming")), RADIO, "Switch it on, put it on the skin"),
    ],
)
def test_the_advice_is_that_of_whoever_knows_the_cause(events, source, advice) -> None:
    """Of its source while its link is down; else what such a link needs; else what to look at."""
    (warning,) = _warned(*events, source=source)
    assert warning.advice.startswith(advice)


@pytest.mark.parametrize(
    ("state", "first_s"),
    [("searching", 8), ("queued", 20), ("connecting", 20), ("preparing", 20), ("lost", 8)],
)
def test_a_link_in_the_making_is_given_twenty_seconds(state, first_s) -> None:
    """Others eight; told with the state of the link, and the seconds so far."""
    (warning,) = _warned(link(1, 2, state), source=RADIO)
    assert warning.start_s == first_s
    assert warning.cause == f"Sorrel is planned, but has not been heard in 30 s (link: {state})."


def test_after_the_links_were_closed_none_is_missed() -> None:
    """What the session has stopped on purpose is not to be switched on."""
    assert _warned(link(5, 2, "stopped"), source=RADIO) == ()
