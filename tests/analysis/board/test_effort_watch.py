"""What test sensors made of the efforts so far, against the analysis of the seconds that count."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import replace
from statistics import median

import numpy as np
import pytest

from analysis.board.effort_watch import EffortWatch
from analysis.board.sensor import SensorState
from analysis.statistics.effort_finder import Effort, EffortFinder
from analysis.statistics.efforts import Answer, Response, responses
from analysis.statistics.pairing import NO_VALUE
from tests.standins.session_events import planned

JUDGED_AFTER_S = 30 + 9
"""It may show an effort for 30 s after its return, and is smoothed over 9 s on either side."""
SENSORS = ((3, 1.0), (16, 1.0), (125, 0.6), (16, 1.0))
"""How late, s, and which share of a rise they show: followed, late, and missed, since it rises when
the look at the effort ends; the last is a file, late too, that its own changes aligned."""


def _heart(second: float, share: float = 1.0) -> float:
    """Efforts of 75 s every 240, each second one from 12 bpm higher or lower."""
    into = second % 240
    level = 90 + 12 * ((second // 480) % 2)
    if into < 75:
        return level + share * 60 * (1 - math.exp(-into / 18))
    return level + share * 60 * math.exp(-(into - 75) / 25)


class _Session:
    """A watch that is fed second by second, and what it should say by now."""

    def __init__(self, *, seed: int = 1) -> None:
        self._random = random.Random(seed)
        self._reference = SensorState(1, planned("Yarrow", "reference"))
        file = {"source": "file", "file": "a.fit", "alignment": "estimated", "kind": ""}
        self.tests = [SensorState(k, planned(f"Wrist {k}")) for k in (2, 3, 4)]
        self.tests.append(SensorState(5, planned("Wrist 5", **file)))
        self.watch = EffortWatch(self._reference, self.tests)
        self.out: list[bool] = []

    def close(self, *, likely: bool = False, out_from: int | None = None) -> None:
        """A further second, taken for left out if it is ``likely`` to be; with it, all since
        ``out_from`` turns out to be.
        """
        second = len(self.out)
        self._reference.held.append(round(1000 * _heart(second)))
        for test, (late_s, share) in zip(self.tests, SENSORS, strict=True):
            bpm = _heart(second - late_s, share) + self._random.uniform(-2, 2)
            test.held.append(round(1000 * bpm))
        self.out.append(False)
        self.watch.close_second(second, left_out=likely)
        since = second + 1 if out_from is None else out_from
        news = [at for at in range(since, second + 1) if not self.out[at]]
        for at in news:
            self.out[at] = True
        self.watch.correct(lambda at: self.out[at], min(news, default=None))

    def assert_as_analysed(self, *, finished: bool = False) -> None:
        """Efforts, and of those that are over for long enough the answers."""
        out = np.array(self.out)
        kept = {
            sensor.number: np.where(out, NO_VALUE, np.array(sensor.held)).astype(np.int32)
            for sensor in (self._reference, *self.tests)
        }
        finder = EffortFinder().feed(kept[1].tolist())
        efforts = list((finder.finish() if finished else finder).efforts)
        assert list(self.watch.efforts) == efforts
        newest = len(out) - 1
        judged = [one for one in efforts if finished or one.return_s + JUDGED_AFTER_S <= newest]
        for test in self.tests:
            expected = responses(judged, kept[1], kept[test.number])
            if test is self.tests[-1]:
                expected = tuple(_aligned(one) for one in expected)
            assert_alike(self.watch.answers(test.number), expected)

    def answers(self) -> list[list[Answer]]:
        """Of each sensor."""
        return [[one.answer for one in self.watch.answers(test.number)] for test in self.tests]


def _aligned(one: Response) -> Response:
    if one.answer is not Answer.LATE:
        return one
    return replace(one, answer=Answer.FOLLOWED, delay_s=None)


def assert_alike(told: Sequence[Response], expected: Sequence[Response]) -> None:
    """The same answers, and numbers but for rounding."""
    assert [one.answer for one in told] == [one.answer for one in expected]
    for one, other in zip(told, expected, strict=True):
        for name in ("delay_s", "shortfall_bpm", "share"):
            assert getattr(one, name) == pytest.approx(getattr(other, name), abs=1e-9)


def _first(efforts: Sequence[Effort]) -> Effort:
    assert efforts
    return efforts[0]


def test_an_effort_is_judged_once_what_a_late_sensor_shows_of_it_is_known() -> None:
    """No second earlier, and at the end in any case; each time that is one change."""
    session = _Session()
    due_s = None
    while due_s is None or len(session.out) <= due_s:
        assert session.watch.answers(2) == []
        assert session.watch.changes == 0
        session.close()
        if session.watch.efforts:
            due_s = _first(session.watch.efforts).return_s + JUDGED_AFTER_S
    session.assert_as_analysed()
    assert session.answers() == [[Answer.FOLLOWED], [Answer.LATE], [Answer.MISSED],
                                 [Answer.FOLLOWED]]  # fmt: skip
    while len(session.watch.efforts) < 2:
        session.close()
    assert len(session.watch.answers(2)) == 1
    assert session.watch.changes == 1
    session.watch.finish()
    session.assert_as_analysed(finished=True)
    assert session.watch.changes == 2


def test_the_delay_is_the_middle_of_those_that_tell_one() -> None:
    """None before the first effort, and none of what was aligned by its own changes."""
    session = _Session()
    assert [session.watch.delay_s(test.number) for test in session.tests] == [None] * 4
    for _ in range(1000):
        session.close()
    told = [one.delay_s for one in session.watch.answers(3)]
    assert len(told) >= 3
    assert session.watch.delay_s(3) == median(told)
    assert session.watch.delay_s(3) == pytest.approx(16, abs=1.5)
    assert session.watch.delay_s(4) is None
    assert session.watch.delay_s(5) is None


@pytest.mark.parametrize("seed", range(3))
def test_what_is_left_out_later_is_as_if_it_had_been_so_at_once(seed) -> None:
    """Whenever it is found out, and whatever had been made of its efforts by then."""
    session = _Session(seed=seed)
    source = random.Random(seed)
    while len(session.out) < 1200:
        for _ in range(source.randrange(1, 60)):
            session.close()
        before_s = source.choice((0, 1, 20, 90, 400))
        session.close(out_from=max(0, len(session.out) - before_s))
        session.assert_as_analysed()
        for _ in range(source.randrange(20)):
            before_s = source.choice((0, 0, 0, 60))
            session.close(likely=True, out_from=max(0, len(session.out) - before_s))
        session.assert_as_analysed()
        session.close(likely=True)
        session.assert_as_analysed()
    session.watch.finish()
    session.assert_as_analysed(finished=True)


@pytest.mark.parametrize("after_s", [*range(26, 31), *range(36, 42)])
def test_an_answer_is_given_anew_if_a_second_that_it_was_made_of_is_left_out(after_s) -> None:
    """From so many seconds after the return of the first effort on; found out once it was given."""
    session = _Session()
    while not session.watch.answers(2):
        session.close()
    for _ in range(5):
        session.close()
    session.close(out_from=_first(session.watch.efforts).return_s + after_s)
    session.assert_as_analysed()
    for _ in range(60):
        session.close()
    session.assert_as_analysed()


def test_an_answer_stands_where_only_later_seconds_are_left_out() -> None:
    """It is not made again: in a session of hours that would cost more with every effort.  That the
    other one is taken back is one change.
    """
    session = _Session()
    while len(session.watch.answers(2)) < 2:
        session.close()
    given = list(session.watch.answers(2))
    assert session.watch.changes == 2
    session.close(out_from=session.watch.efforts[1].return_s)
    session.assert_as_analysed()
    assert session.watch.answers(2)[0] is given[0]
    assert len(session.watch.answers(2)) == 1
    assert session.watch.changes == 3
