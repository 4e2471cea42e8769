"""What no sensor owns: the clock, notes, and events that nothing can be made of."""

from __future__ import annotations

import pytest

from analysis.board.session_state import Marker, SessionState
from replay import event as ev
from replay.event import Event, pack_int
from replay.markers import encode_marker
from tests.standins.session_events import S, plan_of, planned


def test_utc_is_that_of_the_newest_anchor() -> None:
    """It runs on with the capture's clock, and is not known before the first."""
    session = SessionState(plan_of())
    assert session.utc_ns(5 * S) is None
    session.take(2 * S, Event(2 * S, 0, ev.ANCHOR, pack_int(1_000 * S)))
    assert session.utc_ns(5 * S) == 1_003 * S
    session.take(9 * S, Event(9 * S, 0, ev.ANCHOR, pack_int(5_000 * S)))
    assert session.utc_ns(8 * S) == 4_999 * S


def test_what_nothing_can_be_made_of_is_counted() -> None:
    """Unknown channels as strays, payloads that cannot be read as malformed."""
    session = SessionState(plan_of())
    assert (session.strays, session.malformed) == (0, 0)
    for channel in ("unheard of", ev.HEART_RATE, ev.BATTERY):
        session.take(S, Event(S, 0, channel, b"\x01"))
    for channel in (ev.ANCHOR, ev.DISK):
        session.take(S, Event(S, 0, channel, b"\x01"))
    assert (session.strays, session.malformed) == (3, 2)
    assert session.free_bytes is None


def test_notes_stand_in_order_of_time() -> None:
    """Also one about a moment that had passed when it was written."""
    session = SessionState(plan_of())
    for t_s, payload in ((5, b"second"), (9, b"third"), (9, encode_marker("first", 2 * S))):
        session.take(t_s * S, Event(t_s * S, 0, ev.MARKER, payload))
    assert session.markers == [
        Marker(2 * S, "first"), Marker(5 * S, "second"), Marker(9 * S, "third"),
    ]  # fmt: skip


@pytest.mark.parametrize("reference", [0, 1, 2])
def test_the_reference_and_the_tests_are_found_wherever_they_are_planned(reference: int) -> None:
    """Sensors are numbered from 1 in the order of the plan; companions are not compared."""
    roles = ["test", "test", "test", "companion"]
    roles[reference] = "reference"
    plan = plan_of(*(planned(f"S{n}", role) for n, role in enumerate(roles)))
    session = SessionState(plan)
    assert [one.number for one in session.sensors] == [1, 2, 3, 4]
    assert session.reference.number == reference + 1
    others = [n for n in (1, 2, 3) if n != reference + 1]
    assert [one.number for one in session.tests] == others
    assert [one.number for one in session.compared] == [reference + 1, *others]


def test_before_the_first_second_nothing_is_closed_and_nothing_left_out() -> None:
    """The reference is not at fault until its signal has shown it."""
    session = SessionState(plan_of())
    assert session.second == -1
    assert session.left_out is False
