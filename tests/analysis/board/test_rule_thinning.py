"""Notifications that thin out, against what the sensor usually sends: each limit on both sides."""

from __future__ import annotations

import itertools
import math
from functools import partial

import pytest

from analysis.board.rules.base import BAD, GOOD, UNSURE, Rule, Verdict
from analysis.board.rules.thinning import Thinning, falls_a_window
from analysis.board.session_state import SessionState
from replay.payloads import HeartRate
from tests.standins.session_events import S, hear, link, plan_of, play, stream

READING = (0, HeartRate(mbpm=120_000))


class _Sending:
    """The rule on a sensor that sends so many readings a second, evenly."""

    def __init__(self) -> None:
        self.session = SessionState(plan_of())
        self.sensor = self.session.tests[0]
        self.rule = Thinning(self.session, self.sensor)
        self.second = 0
        self._due = 0.0

    def send(self, per_s: float, seconds: int) -> list[Verdict]:
        """Verdicts on so many seconds at this rate."""
        said = []
        for _ in range(seconds):
            self._due += per_s + 1e-9
            count, self._due = int(self._due), self._due % 1
            self.sensor.fresh = [READING] * count
            self.sensor.close_second(self.second)
            self.session.second = self.second
            said.append(self.rule.step(self.second))
            self.second += 1
        return said


@pytest.mark.parametrize(
    ("of_twenty", "verdict"), [(11, BAD), (12, UNSURE), (15, UNSURE), (16, GOOD), (20, GOOD)]
)
def test_three_in_five_are_usual_enough_and_four_in_five_are_well(of_twenty, verdict) -> None:
    """Of a window of 20 s: below three in five it thins out, from four in five on it is well."""
    sending = _Sending()
    sending.send(1.0, 100)
    assert sending.send(of_twenty / 20, 20)[-1] is verdict


@pytest.mark.parametrize(("usual", "told"), [(5, False), (6, True), (7, True)])
def test_a_sensor_that_sends_seldom_does_not_thin_out(usual, told) -> None:
    """With fewer than six in 20 s one that is lost looks like a trend."""
    sending = _Sending()
    sending.send(usual / 20, 200)
    assert (BAD in sending.send(0.1, 60)) is told


@pytest.mark.parametrize(
    ("usual", "left", "told_of", "lasts_s"), [(6, 2, 2, 21), (6, 0, 1, 1), (14, 0, 8, 1)]
)
def test_what_comes_by_chance_must_last_for_another_window(usual, left, told_of, lasts_s) -> None:
    """Of six in 20 s a good link drops four by chance once in 125 hours: told when it has been thin
    for 20 s more, or when the fifth is dropped; fourteen of which six are dropped are told at once.
    """
    sending = _Sending()
    sending.send(usual / 20, 400)
    sums, said = [], []
    for _ in range(60):
        said += sending.send(left / 20, 1)
        sums.append(round(20 * sending.rule.explain().measures[0].value))
    told_at = said.index(BAD)
    assert sums[told_at] == told_of
    thin = [at for at in range(told_at + 1) if sums[at] < 0.6 * usual]
    if lasts_s > 1:
        assert len(thin) == lasts_s
    else:
        assert all(said[at] is UNSURE and sums[at] > told_of for at in thin[:-1])
    assert sending.send(usual / 20, 40)[-1] is GOOD


def _told_of(*before: tuple[int, str]) -> int:
    """Of how many in 20 s a sensor that falls silent is told, after stretches of so many seconds
    in which one notification came (``1``) or was lost (``0``) in each, over and over.
    """
    session = SessionState(plan_of())
    sensor = session.tests[0]
    rule = Thinning(session, sensor)
    came = itertools.chain(*(itertools.islice(itertools.cycle(one), n) for n, one in before))
    for second, one in enumerate(itertools.chain(came, "0" * 40)):
        hear(sensor, [(second * S, READING[1])] if one == "1" else [])
        sensor.close_second(second)
        session.second = second
        if rule.step(second) is BAD:
            return round(20 * rule.explain().measures[0].value)
    return -1


def _one_lost_of(count: int) -> str:
    return "1" * (count - 1) + "0"


@pytest.mark.parametrize(("of", "told_of"), [(20, 11), (12, 10), (10, 9), (9, 9)])
def test_what_its_own_link_loses_by_chance_does_not_thin_out(of: int, told_of: int) -> None:
    """Where one in ten is lost ten of twenty come too often by chance, once in 500 hours, and
    where one in twelve is they do not.
    """
    assert _told_of((400, "1")) == 11
    assert _told_of((400, _one_lost_of(of))) == told_of


@pytest.mark.parametrize(
    ("before", "told_of"),
    [
        ([(600, "1"), (340, _one_lost_of(10))], 9),
        ([(600, _one_lost_of(10)), (340, "1")], 11),
        ([(400, "1"), (300, "1110110110")], 11),
        ([(400, _one_lost_of(10)), (16, "001")], 9),
    ],
)
def test_the_share_that_is_lost_is_learned_while_all_is_well(before, told_of) -> None:
    """Of the last 300 notifications; what is thin, or nearly, is no share of a good link."""
    assert _told_of(*before) == told_of


@pytest.mark.parametrize(("count", "lost"), [(5, 0.3), (8, 0.1), (3, 0.5)])
def test_how_often_a_window_falls_is_what_a_link_does(count: int, lost: float) -> None:
    """The closed form beside every way in which ten of eleven notifications can come or be lost."""
    falls = 0.0
    for came in itertools.product((True, False), repeat=11):
        chance = math.prod(1 - lost if one else lost for one in came)
        falls += chance * (sum(came[1:]) == count and sum(came[:-1]) == count + 1)
    assert falls_a_window(count, 10, lost) == pytest.approx(10 * falls, rel=1e-9)


@pytest.mark.parametrize(("faster_s", "told"), [(143, False), (144, True)])
def test_what_is_usual_is_that_of_the_last_five_minutes(faster_s, told) -> None:
    """The middle of fifteen windows: a sensor that has sent fourfold for most of eight, and goes
    back, thins out; for seven it has only been quick for a while.
    """
    sending = _Sending()
    sending.send(1.0, 800)
    assert set(sending.send(4.0, faster_s)) == {GOOD}
    assert (BAD in sending.send(1.0, 20)) is told


def test_what_is_thin_is_not_learned() -> None:
    """However long it lasts, the rate before it stays the usual one, and is what ends it."""
    sending = _Sending()
    sending.send(1.0, 100)
    assert set(sending.send(0.5, 1000)[20:]) == {BAD}
    explained = sending.rule.explain()
    assert explained.cause == "Sorrel sends 0.5 readings a second instead of its usual 1.0."
    assert sending.rule.since() == sending.second - 1 - 20
    assert sending.send(1.0, 20)[-1] is GOOD
    assert sending.rule.cleared() == "It sends 1.0 readings a second again."


def test_nothing_is_said_before_a_window_is_full_nor_after_the_links_were_closed() -> None:
    """It takes 20 s from the first reading on; what the session has closed does not thin out."""
    sending = _Sending()
    assert set(sending.send(0.0, 50)) == {UNSURE}
    assert sending.send(1.0, 20) == [*[UNSURE] * 19, GOOD]
    sending.send(1.0, 60)
    sending.sensor.take(0, link(0, 2, "stopped"))
    assert set(sending.send(0.0, 40)) == {UNSURE}


def test_reset_forgets_the_window_and_keeps_what_is_usual() -> None:
    """After another warning it takes a window again, and is held against the rate before it."""
    sending = _Sending()
    sending.send(1.0, 100)
    assert sending.send(0.5, 20)[-1] is BAD
    sending.rule.reset()
    assert sending.send(0.6, 1) == [UNSURE]  # nothing yet: a window begins with a reading
    assert sending.send(0.5, 20) == [*[UNSURE] * 19, BAD]


@pytest.mark.parametrize("until_s", [101, 108, 113, 127])
def test_it_is_told_in_the_second_in_which_it_is_when_asked_each_second(until_s) -> None:
    """A sensor that stops: the window may be thin from the second on that it sleeps to."""

    def asked_each_second(rule: Thinning, step, second: int) -> Verdict:
        said: Verdict = step(second)
        rule.quiet_until = 0
        return said

    told = []
    for sleeps in (True, False):

        def rules(session: SessionState, sleeps: bool = sleeps) -> list[Rule]:
            rule = Thinning(session, session.tests[0])
            if not sleeps:
                rule.step = partial(asked_each_second, rule, rule.step)  # type: ignore[method-assign]
            return [rule]

        board = play(plan_of(), stream(2, 0.5, until_s, 120), until_s=until_s + 40, rules=rules)
        told.append([(one.since_s, one.start_s) for one in board.warnings])
    assert len(told[0]) == 1
    assert told[0] == told[1]
