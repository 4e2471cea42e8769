"""What all rules share: how they name an instant and a sensor."""

from __future__ import annotations

import pytest

from analysis.board.rules.apart import Apart
from analysis.board.rules.base import time_words, unreadable_words
from analysis.board.rules.deviation import Deviation
from analysis.board.session_state import SessionState
from tests.standins.session_events import plan_of, planned


@pytest.mark.parametrize(
    ("second", "words"),
    [
        (-1, "0:00"), (0, "0:00"), (1, "0:01"), (59, "0:59"), (60, "1:00"), (200, "3:20"),
        (3599, "59:59"), (3600, "1:00:00"), (3727, "1:02:07"),
    ],
)  # fmt: skip
def test_an_instant_is_named_as_a_clock_shows_it(second: int, words: str) -> None:
    """Minutes and seconds, and hours from the first hour on."""
    assert time_words(second) == words


@pytest.mark.parametrize(
    ("worn", "advice"),
    [
        ({"kind": "wrist", "placement": "left wrist"}, "Tighten its band by one hole"),
        ({"kind": "strap", "placement": "chest"}, "Wet the strap's electrodes"),
    ],
)
def test_a_sensor_is_seated_as_its_kind_is(worn, advice) -> None:
    """Electrodes are wetted, a band is tightened; the reference is named as such."""
    session = SessionState(plan_of(planned("Yarrow", "reference"), planned("Sorrel", **worn)))
    test = session.tests[0]
    rule = Apart(session, test, Deviation(session, test))
    assert rule.seat_advice.startswith(advice)
    assert rule.name == "Sorrel"
    assert Apart(session, session.reference, Deviation(session, test)).name == "Yarrow (reference)"


@pytest.mark.parametrize(("count", "words"), [(0, "0 notifications"), (1, "1 notification"),
                                              (2, "2 notifications")])  # fmt: skip
def test_one_notification_is_not_said_as_several(count, words) -> None:
    """However many could not be read."""
    assert unreadable_words(count) == f"{words} could not be read"
