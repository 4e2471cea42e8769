"""Notifications that thin out, against what the sensor usually sends: each limit on both sides."""

from __future__ import annotations

import pytest

from analysis.board.rules.base import BAD, GOOD, UNSURE, Verdict
from analysis.board.rules.thinning import Thinning
from analysis.board.session_state import SessionState
from replay.payloads import HeartRate
from tests.standins.session_events import link, plan_of

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


@pytest.mark.parametrize(("usual", "more_s"), [(14, 20), (15, 0)])
def test_of_few_the_next_window_must_be_thin_as_well(usual, more_s) -> None:
    """From fifteen in 20 s on one thin window is enough; of fewer, half are lost by chance."""
    sending = _Sending()
    sending.send(usual / 20, 400)
    said = sending.send(0.0, 60)
    counts = [sum(1 for s in range(20) if s > at) * usual / 20 for at in range(20)]
    thin_at = next(at for at, count in enumerate(counts) if count < 0.6 * usual)
    assert abs(said.index(BAD) - thin_at - more_s) <= 1
    assert sending.send(usual / 20, 40)[-1] is GOOD


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
