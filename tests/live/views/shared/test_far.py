"""The rules of the far view, which the window and the page for the phone share."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pytest

from analysis.board.snapshot import Snapshot
from live.protocol.feed import Tick
from live.protocol.view_model import ViewModel
from live.views.shared.far import (
    LINK_WORDS,
    bpm_words,
    call,
    has_nothing_to_say,
    head_words,
    is_well,
    rows_of,
    standing,
    trouble_words,
)
from live.views.shared.palette import DARK, LIGHT, SENSOR_SHAPES, sensor_styles
from replay.event import LINK, NS_PER_S, Event
from replay.link_state import LinkState
from replay.plan import Plan
from replay.signs import COLOURS, SHAPES
from tests.standins.feeds import PLAN, ScriptedFeed, two_sensors


@dataclass(frozen=True)
class Sight:
    plan: Plan
    snapshot: Snapshot
    halted: str = ""
    is_stale: bool = False


def sight(events, until_s, **more):
    model = ViewModel(ScriptedFeed([[*events, Tick(until_s * NS_PER_S)]]))
    model.pump()
    return Sight(PLAN, model.snapshot(), **more)


def silent(seconds=90, from_s=40):
    return [e for e in two_sensors(seconds) if e.sensor != 2 or e.t_ns < from_s * NS_PER_S]


def test_all_well_has_nothing_to_say():
    """Every row its verdict and value, the head the activity or the effort under way."""
    seen = sight(two_sensors(60), 60)
    reference, test = seen.snapshot.sensors
    assert is_well(seen)
    assert [has_nothing_to_say(seen, n) for n in (1, 2)] == [True, True]
    assert call(seen, reference) == ("REF", "")
    assert call(seen, test)[0] == "IN"
    assert bpm_words(seen, test) == f"{test.held_bpm:.0f}"
    assert head_words(seen, "") == "rowing ergometer · W1"
    assert head_words(seen, "effort 3 · 1:24") == "effort 3 · 1:24"
    assert [number for number, _ in rows_of(seen)] == [1, 2]


def test_a_fault_stands_in_its_row_alone():
    """The gravest warning of that sensor; the other row has nothing to say still."""
    seen = sight(silent(), 90)
    assert standing(seen, 2).sensor == 2
    assert (has_nothing_to_say(seen, 1), has_nothing_to_say(seen, 2)) == (True, False)
    assert not is_well(seen)
    assert call(seen, seen.snapshot.sensors[1]) == ("–", "no pair")


def test_nothing_old_stands_once_time_stands_still():
    """No value, no verdict, no warning: the words of the alarm in each row."""
    seen = sight(silent(), 90, halted="recording ended", is_stale=True)
    assert [call(seen, status) for status in seen.snapshot.sensors] == [("–", "no news")] * 2
    assert {bpm_words(seen, status) for status in seen.snapshot.sensors} == {"–"}
    assert standing(seen, 2) is None
    assert trouble_words(seen, 1) == "recording ended"


@pytest.mark.parametrize("state", [LinkState.SEARCHING, LinkState.LOST, LinkState.REFUSED])
def test_a_link_that_is_down_is_said(state):
    """In words, where no warning stands yet."""
    events = [*two_sensors(30), Event(30 * NS_PER_S, 2, LINK, state.value.encode())]
    seen = sight(events, 30)
    assert trouble_words(seen, 2) == LINK_WORDS[state]
    assert not has_nothing_to_say(seen, 2)


def test_every_state_of_a_link_has_words():
    """None is left to be shown by its name in the program."""
    assert set(LINK_WORDS) == set(LinkState)


def test_a_sensor_looks_alike_in_every_view():
    """Shape and colour by its sign; a colour that comes again is dashed."""
    tests = [replace(PLAN.sensors[1], label=f"S{n}", name=f"S{n}") for n in range(COLOURS + 1)]
    styles = sensor_styles(replace(PLAN, sensors=(PLAN.sensors[0], *tests)))
    assert styles[1].colour(LIGHT) == LIGHT.reference
    assert [styles[n].shape for n in range(2, 2 + SHAPES)] == list(SENSOR_SHAPES)
    assert styles[2].colour(DARK) == styles[2 + COLOURS].colour(DARK)
    assert (styles[2].dashed, styles[2 + COLOURS].dashed) == (False, True)
    assert (LIGHT.is_dark, DARK.is_dark) == (False, True)
