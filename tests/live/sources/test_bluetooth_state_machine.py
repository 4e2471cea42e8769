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
from replay.link_state import LinkState

H, S, A = Happening, LinkState, Action
TIMING = Timing()


def machine() -> LinkMachine:
    """A machine with a fixed spread of its pauses."""
    return LinkMachine(TIMING, random.Random(1))


def after(link: LinkMachine, *happenings: Happening) -> Step:
    """The step after these happenings."""
    for happening in happenings:
        step = link.on(happening)
    return step


STREAMING = (H.STARTED, H.SEEN, H.TURN, H.CONNECTED, H.SUBSCRIBED, H.NOTIFIED)


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
        (STREAMING[:2], S.QUEUED, A.QUEUE),
        ((*STREAMING[:2], H.STALE), S.SEARCHING, A.SEARCH),
        (STREAMING[:3], S.CONNECTING, A.CONNECT),
        (STREAMING[:4], S.PREPARING, A.PREPARE),
        (STREAMING[:5], S.PREPARING, A.WATCH),
        (STREAMING, S.STREAMING, A.WATCH),
        ((*STREAMING[:4], H.STRANGER, H.DUE), S.SEARCHING, A.SEARCH),
        ((*STREAMING[:5], H.SILENT), S.QUIET, A.RENEW),
        ((*STREAMING, H.SILENT), S.QUIET, A.RENEW),
        ((*STREAMING, H.SILENT, H.RENEWED), S.QUIET, A.WATCH),
        ((*STREAMING, H.SILENT, H.RENEWED, H.NOTIFIED), S.STREAMING, A.WATCH),
        ((*STREAMING, H.SILENT, H.RENEWED, H.SILENT), S.LOST, A.PAUSE),
        ((*STREAMING, H.SILENT, H.OFF), S.ADAPTER_OFF, A.AWAIT_ADAPTER),
        ((*STREAMING, H.OFF, H.ON), S.SEARCHING, A.SEARCH),
        ((*STREAMING, H.DROPPED, H.DUE), S.SEARCHING, A.SEARCH),
        ((*STREAMING[:4], H.REFUSED), S.REFUSED, A.PAUSE),
        ((*STREAMING[:3], H.FULL), S.LOST, A.PAUSE),
    ],
)
def test_the_way_of_a_link(
    happenings: tuple[Happening, ...], state: LinkState, action: Action
) -> None:
    """The states that a tester sees, and what is done in them."""
    step = after(machine(), *happenings)
    assert (step.state, step.action) == (state, action)


@pytest.mark.parametrize("end", [H.DROPPED, H.FORGOTTEN, H.FAILED])
def test_a_stream_that_broke_is_searched_without_a_pause(end: Happening) -> None:
    """However often it breaks: it is made again on sight."""
    link = machine()
    after(link, *STREAMING)
    for _ in range(20):
        assert link.on(end) == Step(S.LOST, A.PAUSE, 0.0)
        after(link, H.DUE, *STREAMING[1:])


def test_a_silence_that_lasts_is_answered_without_a_pause() -> None:
    """A link that renewing did not revive is made anew at once."""
    assert after(machine(), *STREAMING, H.SILENT, H.RENEWED, H.SILENT).pause_s == 0.0


def test_a_forgotten_sensor_is_searched_without_a_pause_once() -> None:
    """Forgotten between sighting and link, it must be seen anew; again, it is a failure."""
    link = machine()
    assert after(link, H.STARTED, H.SEEN, H.TURN, H.FORGOTTEN).pause_s == 0.0
    assert after(link, H.DUE, H.SEEN, H.TURN, H.FORGOTTEN).pause_s > 0.0


def test_failed_attempts_pause_up_to_a_limit_until_it_streams() -> None:
    """Failures with the sensor in sight lengthen the pause; a stream makes it short again."""
    link = machine()
    after(link, H.STARTED)
    pauses = []
    for _ in range(12):
        pauses.append(after(link, H.SEEN, H.TURN, H.FAILED).pause_s)
        after(link, H.DUE)
    assert link.failures == 12
    assert pauses[0] <= 1.2 * TIMING.retry_s
    assert 0.8 * TIMING.retry_most_s <= pauses[-1] <= 1.2 * TIMING.retry_most_s
    after(link, *STREAMING[1:])
    assert link.failures == 0
    after(link, H.DROPPED, H.DUE)
    assert after(link, H.SEEN, H.TURN, H.FAILED).pause_s <= 1.2 * TIMING.retry_s


def test_a_link_that_breaks_before_it_streams_is_a_failure() -> None:
    """A sensor that drops each link while it is prepared is not tried without a pause."""
    assert after(machine(), *STREAMING[:4], H.DROPPED).pause_s > 0.0


def test_an_adapter_that_came_back_owes_nobody_a_pause() -> None:
    """Failures from before the adapter was gone do not count after it."""
    link = machine()
    after(link, H.STARTED)
    for _ in range(6):
        after(link, H.SEEN, H.TURN, H.FAILED, H.DUE)
    after(link, H.OFF, H.ON)
    assert link.failures == 0


def test_a_full_adapter_is_given_time() -> None:
    """An adapter without room is asked again after some seconds."""
    step = after(machine(), *STREAMING[:3], H.FULL)
    assert step.pause_s >= 0.8 * TIMING.full_s


def test_refusals_are_tried_again_slowly() -> None:
    """A refusal pauses longer than a failed attempt, but comes to an end within 5 s."""
    link = machine()
    pauses = [after(link, *STREAMING[:4], H.REFUSED).pause_s]
    for _ in range(8):
        pauses.append(after(link, H.DUE, *STREAMING[1:4], H.REFUSED).pause_s)
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
        machine().on(H.CONNECTED)
