"""What follows from what, for the link to one sensor: no radio, a clock of plain numbers."""

from __future__ import annotations

import random

import pytest

from live.sources.bluetooth.state_machine import (
    OUTCOMES,
    TABLE,
    Action,
    Backoff,
    Happening,
    LinkMachine,
    Step,
)
from live.sources.bluetooth.timing import Timing
from replay.link import LinkState

H, S, A = Happening, LinkState, Action
TIMING = Timing()


def machine() -> LinkMachine:
    """A machine with a fixed spread of its pauses."""
    return LinkMachine(TIMING, random.Random(1))


def after(link: LinkMachine, *happenings: Happening, now_s: float = 0.0) -> Step:
    """The step after these happenings, all at one time."""
    for happening in happenings:
        step = link.on(happening, now_s)
    return step


STREAMING = (H.STARTED, H.SEEN, H.CONNECTED, H.SUBSCRIBED, H.NOTIFIED)


def test_every_outcome_of_every_action_has_an_answer() -> None:
    """Whatever an action may report, the table answers it in each state that runs the action."""
    reached = {(S.WAITING, None)}
    frontier = [(S.WAITING, H.STARTED)]
    asked = set()
    while frontier:
        state, happening = frontier.pop()
        if (state, happening) in asked:
            continue
        asked.add((state, happening))
        following, action = TABLE[state][happening]
        reached.add((following, action))
        frontier += [(following, outcome) for outcome in OUTCOMES[action]]
    assert {state for state, _ in reached} == set(LinkState) - {S.STOPPED, S.FILE}


def test_no_row_of_the_table_is_idle() -> None:
    """Each row answers an outcome that some action in that state can really have."""
    actions_in: dict[LinkState, set[Action]] = {}
    for rows in TABLE.values():
        for state, action in rows.values():
            actions_in.setdefault(state, set()).add(action)
    for state, rows in TABLE.items():
        possible = {H.STARTED} if state is S.WAITING else set()
        for action in actions_in.get(state, ()):
            possible |= OUTCOMES[action]
        assert set(rows) <= possible, state


@pytest.mark.parametrize(
    ("happenings", "state", "action"),
    [
        ((H.STARTED,), S.SEARCHING, A.SEARCH),
        (STREAMING[:2], S.CONNECTING, A.CONNECT),
        (STREAMING[:3], S.PREPARING, A.PREPARE),
        (STREAMING[:4], S.PREPARING, A.WATCH),
        (STREAMING, S.STREAMING, A.WATCH),
        ((*STREAMING[:4], H.SILENT), S.QUIET, A.RENEW),
        ((*STREAMING, H.SILENT), S.QUIET, A.RENEW),
        ((*STREAMING, H.SILENT, H.RENEWED), S.QUIET, A.WATCH),
        ((*STREAMING, H.SILENT, H.RENEWED, H.NOTIFIED), S.STREAMING, A.WATCH),
        ((*STREAMING, H.SILENT, H.RENEWED, H.SILENT), S.LOST, A.PAUSE),
        ((*STREAMING, H.SILENT, H.OFF), S.ADAPTER_OFF, A.AWAIT_ADAPTER),
        ((*STREAMING, H.OFF, H.ON), S.SEARCHING, A.SEARCH),
        ((*STREAMING, H.DROPPED, H.DUE_KNOWN), S.CONNECTING, A.CONNECT),
        ((*STREAMING[:3], H.REFUSED), S.REFUSED, A.PAUSE),
    ],
)
def test_the_way_of_a_link(
    happenings: tuple[Happening, ...], state: LinkState, action: Action
) -> None:
    """The states that a tester sees, and what is done in them."""
    step = after(machine(), *happenings)
    assert (step.state, step.action) == (state, action)


def test_a_sensor_just_lost_is_tried_directly_once() -> None:
    """After a drop the known address is tried; if that fails, the sensor must be seen again."""
    link = machine()
    assert after(link, *STREAMING, H.DROPPED).then is H.DUE_KNOWN
    assert after(link, H.DUE_KNOWN, H.FAILED).then is H.DUE


def test_a_forgotten_sensor_is_searched() -> None:
    """What this computer no longer knows cannot be connected without being seen."""
    assert after(machine(), *STREAMING, H.FORGOTTEN).then is H.DUE


def test_vanishing_on_connect_waits_for_a_full_adapter() -> None:
    """A sensor that vanishes while connecting is given the time that a full adapter needs."""
    step = after(machine(), H.STARTED, H.SEEN, H.FORGOTTEN)
    assert step.pause_s >= TIMING.full_s


def test_a_known_sensor_that_is_forgotten_is_searched_without_delay() -> None:
    """If the daemon forgot a sensor that was linked before, the adapter is not suspected."""
    step = after(machine(), *STREAMING, H.DROPPED, H.DUE_KNOWN, H.FORGOTTEN)
    assert step.pause_s < TIMING.full_s
    assert step.then is H.DUE


def test_pauses_grow_to_their_limit_and_begin_anew_after_a_steady_stream() -> None:
    """Failures lengthen the pause up to its limit; ten steady seconds make it short again."""
    link = machine()
    after(link, H.STARTED)
    pauses = []
    for _ in range(12):
        pauses.append(after(link, H.SEEN, H.FAILED).pause_s)
        after(link, H.DUE)
    assert pauses[0] <= 1.2 * TIMING.retry_s
    assert 0.8 * TIMING.retry_most_s <= pauses[-1] <= 1.2 * TIMING.retry_most_s
    after(link, *STREAMING[1:], now_s=100.0)
    brief = link.on(H.DROPPED, 101.0)
    assert brief.pause_s >= 0.8 * TIMING.retry_most_s
    after(link, H.DUE_KNOWN, *STREAMING[2:], now_s=200.0)
    steady = link.on(H.DROPPED, 200.0 + TIMING.steady_s)
    assert steady.pause_s <= 1.2 * TIMING.retry_s


def test_a_quiet_spell_does_not_count_as_steady() -> None:
    """Seconds are counted from the newest start of the stream, not from the first."""
    link = machine()
    after(link, H.STARTED)
    for _ in range(8):
        after(link, H.SEEN, H.FAILED, H.DUE)
    after(link, *STREAMING[1:], now_s=0.0)
    link.on(H.SILENT, 5.0)
    after(link, H.RENEWED, H.NOTIFIED, now_s=9.0)
    assert link.on(H.DROPPED, 12.0).pause_s >= 0.8 * TIMING.retry_most_s


def test_refusals_are_tried_again_slowly() -> None:
    """A refusal pauses longer than a lost link, up to a minute."""
    link = machine()
    pauses = [after(link, *STREAMING[:3], H.REFUSED).pause_s]
    for _ in range(8):
        pauses.append(after(link, H.DUE, *STREAMING[1:3], H.REFUSED).pause_s)
    assert pauses[0] >= 0.8 * TIMING.refused_s
    assert 0.8 * TIMING.refused_most_s <= pauses[-1] <= 1.2 * TIMING.refused_most_s


def test_a_backoff_survives_days_of_trying() -> None:
    """Thousands of failures neither overflow nor exceed the limit."""
    backoff = Backoff(0.5, 15.0, random.Random(2))
    pauses = [backoff.next_s() for _ in range(5000)]
    assert max(pauses) <= 18.0
    assert len(set(pauses[-100:])) > 50  # spread, so that sensors do not try in step
    backoff.reset()
    assert backoff.next_s() <= 0.6


def test_a_happening_that_cannot_be_is_a_defect() -> None:
    """What the table does not list raises instead of being guessed at."""
    with pytest.raises(KeyError):
        machine().on(H.CONNECTED, 0.0)
