"""Late, by the efforts that show it; and what sensors made of the efforts so far."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import pytest

from analysis.board.rules.base import BAD, Verdict
from analysis.board.rules.delay_estimate import DelayEstimate
from analysis.board.rules.late import Late
from analysis.board.rules.thresholds import LATE, LateLimits
from analysis.board.session_state import SessionState
from analysis.board.snapshot import EffortCounts, Severity
from analysis.board.snapshot import WarningKind as K
from analysis.statistics.efforts import Kind, find_efforts, responses
from replay.event import Stamp
from tests.standins.session_events import hr, of_kind, plan_of, planned, play, stream

ONE = plan_of(planned("Yarrow", "reference"), planned("Sorrel"))
END_S = 1000


def _intervals(t: float) -> float:
    """Rests of 90 bpm and efforts of 120 s every 300 s from 100 s on."""
    into = (t - 100) % 300
    if t < 100:
        return 90
    if into < 120:
        return 90 + 60 * (1 - math.exp(-into / 20))
    return 90 + 60 * math.exp(-(into - 120) / 40)


def _board(test, end_s=END_S, rules=None):
    events = stream(2, 0.5, end_s, test)
    return play(ONE, stream(1, 0.3, end_s, _intervals), events, until_s=end_s, rules=rules)


def _late(session):
    return [Late(session, test) for test in session.tests]


@pytest.mark.parametrize("end_s", [END_S, 700])
def test_sensor_always_15_s_late_is_told_after_the_second_effort(end_s: int) -> None:
    """A notice, that tells delay and efforts, within a minute of the second effort's return; the
    sensor is not called apart as well.
    """
    board = _board(lambda t: _intervals(t - 15), end_s)
    (warning,) = board.warnings
    second = board.efforts.efforts[1]
    assert (warning.kind, warning.severity) == (K.LATE, Severity.NOTICE)
    assert second.return_s < warning.start_s <= second.return_s + 60
    assert abs(warning.since_s - 100) <= 5
    of = 3 if end_s == END_S else 2
    assert warning.cause == f"Sorrel follows Yarrow 15 s late in {of} of {of} efforts."


@pytest.mark.parametrize(
    ("offset_ns", "words"),
    [
        (0, "by the clock of node 'attic', translated to this one."),
        (None, "by arrival here: the clock of node 'attic' cannot be translated yet."),
    ],
)
def test_a_delay_names_the_clock_that_it_rests_on(offset_ns: int | None, words: str) -> None:
    """Where a node has stamped, the cause says by whose clock, or that it is not known."""
    plan = plan_of(
        planned("Yarrow", "reference"),
        planned("Sorrel", source="node", node="attic", kind="", name="Sorrel"),
    )
    told = [
        event._replace(foreign=Stamp(event.t_ns, "node:attic/1", offset_ns))
        for event in stream(2, 0.5, END_S, lambda t: _intervals(t - 15))
    ]
    board = play(plan, stream(1, 0.3, END_S, _intervals), told, until_s=END_S)
    (warning,) = board.warnings
    first, _, rest = warning.cause.partition(", ")
    assert first == "Sorrel follows Yarrow 15 s late in 3 of 3 efforts"
    assert rest == words


@pytest.mark.parametrize("delay_s", [0, 5, 12])
def test_usual_delay_is_not_told(delay_s: int) -> None:
    """Sensors in good order need up to a dozen seconds."""
    assert _board(lambda t: _intervals(t - delay_s)).warnings == ()


def test_one_late_effort_is_none() -> None:
    """A moment's bad seat is not the sensor."""
    board = _board(lambda t: _intervals(t - (16 if t < 350 else 4)), rules=_late)
    assert board.warnings == ()
    assert board.snapshot().sensors[1].efforts == EffortCounts(followed=2, late=1)


def _told_late(efforts: str, limits: LateLimits = LATE) -> list[int]:
    """After how many of these efforts it is told: L is shown 16 s late, which is late for an effort
    and not for an estimate of the delay; f is shown 10 s late.
    """

    def test(t: float) -> float:
        effort = min(max(int(t - 100) // 300, 0), len(efforts) - 1)
        return _intervals(t - (16 if efforts[effort] == "L" else 10))

    def rules(session):
        return [Late(session, one, limits=limits) for one in session.tests]

    board = _board(test, 100 + 300 * len(efforts), rules)
    return [(one.start_s - 100) // 300 + 1 for one in board.warnings]


@pytest.mark.parametrize(
    ("efforts", "told"), [("LfLL", [4]), ("fLLfLL", []), ("fLfLLLL", [7]), ("ffLLfLL", [])]
)
def test_three_of_four_efforts_are_the_sensor_and_two_of_three_are_not(efforts, told) -> None:
    """Of the last six; of these, four are as few as two of three."""
    assert _told_late(efforts) == told


def test_five_of_seven_efforts_would_not_be_the_sensor() -> None:
    """Nor is any share below three of four, were more efforts kept."""
    assert _told_late("fLLfLLL", replace(LATE, efforts_kept=7)) == []
    assert _told_late("fLLfLLLL", replace(LATE, efforts_kept=8)) == [8]


def test_late_ends_when_it_follows_two_efforts_in_time() -> None:
    """The sentence of the end says by what."""
    board = _board(lambda t: _intervals(t - (16 if t < 650 else 4)), 1400, rules=_late)
    (warning,) = board.warnings
    assert warning.end_s is not None
    assert warning.end_s > 900
    assert warning.cleared.startswith("It follows within")


def test_reset_forgets_efforts() -> None:
    """What another rule explained is no evidence afterwards, nor the effort that was under way."""
    session = SessionState(ONE)
    rule = Late(session, session.tests[0], _Told([]))  # type: ignore[arg-type]

    def asked_until(end_s: int) -> set[Verdict]:
        """What it says from here to this second; each effort is 15 s late, every 300 s one."""
        said = set()
        for second in range(session.second + 1, end_s):
            session.second = second
            for sensor, delay_s in zip(session.sensors, (0, 15), strict=True):
                sensor.held.append(round(1000 * _intervals(second - delay_s)))
            session.efforts.close_second(second, left_out=False)
            said.add(rule.step(second))
        return said

    assert BAD not in asked_until(450)
    assert len(session.efforts.answers(2)) == 1
    rule.reset()  # while the second is under way
    assert BAD not in asked_until(1000)
    assert len(session.efforts.answers(2)) == 3
    assert BAD in asked_until(1300)
    assert rule.explain().cause == "Sorrel follows Yarrow 15 s late in 2 of 2 efforts."
    rule.reset()
    assert BAD not in asked_until(1310)


@pytest.mark.parametrize(
    ("height", "counts"),
    [
        (1.0, EffortCounts(followed=3)),
        (0.6, EffortCounts(blunted=3)),
        (0.1, EffortCounts(missed=3)),
    ],
)
def test_efforts_are_counted_as_they_happen(height: float, counts: EffortCounts) -> None:
    """Missed and blunted ones stand on the card, and are those of the analysis."""
    board = _board(lambda t: 90 + height * (_intervals(t) - 90), rules=_late)
    status = board.snapshot().sensors[1]
    assert status.efforts == counts
    assert status.efforts is not None
    assert status.efforts.judged == 3
    assert board.snapshot().sensors[0].efforts is None
    found = find_efforts(board.grid(1))
    offline = responses(found, board.grid(1), board.grid(2))
    wanted = [r.answer for e, r in zip(found, offline, strict=True) if e.kind is Kind.EFFORT]
    assert [one.answer for one in board.efforts.answers(2)] == wanted


@pytest.mark.parametrize(
    ("rise_s", "level_bpm", "found"), [(20, -6, True), (150, -6, False), (150, 0, False)]
)
def test_a_slow_rise_tells_no_delay(rise_s: int, level_bpm: int, found: bool) -> None:
    """What a sensor errs by looks like a delay where the heart takes minutes to rise."""

    def heart(t: float) -> float:
        into = (t - 100) % 500
        if t < 100:
            return 90
        return 90 + 60 * min(1.0, into / rise_s) * min(1.0, max(0.0, 1 - (into - 330) / 30))

    delay_s = 15 if level_bpm == 0 or rise_s == 20 else 5
    board = play(
        ONE,
        stream(1, 0.3, 1600, heart),
        stream(2, 0.5, 1600, lambda t: heart(t - delay_s) + level_bpm),
        until_s=1600,
        rules=_late,
    )
    assert bool(board.warnings) is found


def test_an_overshoot_is_no_delay() -> None:
    """A wrong peak puts half of a sensor's own rise later: the reference's half counts as well."""

    def spiked(t: float) -> float:
        return _intervals(t - 8) + (60 if 190 < t % 300 < 205 else 0)

    assert _board(spiked, rules=_late).warnings == ()


@pytest.mark.parametrize(("every_s", "found"), [(1, True), (12, False)])
def test_a_sensor_that_sends_seldom_may_be_later(every_s: int, found: bool) -> None:
    """What waits for the next reading is no delay of the sensor."""
    plan = plan_of(planned("Yarrow", "reference"), planned("Sorrel", hold_s=20))
    seldom = stream(2, 0.5, END_S, lambda t: _intervals(t - 16), every_s=every_s)
    board = play(plan, stream(1, 0.3, END_S, _intervals), seldom, until_s=END_S, rules=_late)
    assert bool(board.warnings) is found


@pytest.mark.parametrize("delay_s", [0, 15])
def test_an_effort_whose_start_was_not_seen_is_not_judged(delay_s: int) -> None:
    """A sensor that was silent or off the skin at an effort's start was neither late nor missed."""
    events = [e for e in stream(2, 0.5, END_S, lambda t: _intervals(t - delay_s))
              if not 75 < (e.t_ns / 1e9) % 300 < 125]  # fmt: skip
    board = play(ONE, stream(1, 0.3, END_S, _intervals), events, until_s=END_S, rules=_late)
    assert board.warnings == ()
    assert board.snapshot().sensors[1].efforts == EffortCounts()


def test_a_file_on_the_reference_s_clock_can_be_late() -> None:
    """Files that one computer has stamped are held against each other."""
    files = [
        planned(
            label,
            role,
            source="file",
            file=f"{label}.csv",
            kind="",
            alignment="one clock",
            clock="one",
        )
        for label, role in (("Yarrow", "reference"), ("Sorrel", "test"))
    ]
    events = stream(2, 0.5, END_S, lambda t: _intervals(t - 15))
    board = play(plan_of(*files), stream(1, 0.3, END_S, _intervals), events, until_s=END_S)
    assert len(of_kind(board, K.LATE)) == 1
    assert board.snapshot().sensors[1].efforts == EffortCounts(late=3)


def test_no_delay_is_claimed_of_a_file() -> None:
    """What was aligned by its own changes follows where it would be late."""
    plan = plan_of(
        planned("Yarrow", "reference"),
        planned("Sorrel", source="file", file="a.csv", alignment="estimated", kind=""),
    )
    events = stream(2, 0.5, END_S, lambda t: _intervals(t - 15))
    board = play(plan, stream(1, 0.3, END_S, _intervals), events, until_s=END_S)
    assert of_kind(board, K.LATE) == []
    assert board.snapshot().sensors[1].efforts == EffortCounts(followed=3)


class _Told:
    """Estimates of a delay as they are told, one every 20 s; their spread is that of a good one."""

    due = 0

    def __init__(self, delays: list[int]) -> None:
        self.made = [
            DelayEstimate(20 * k, delay_s, 1_000.0, 500.0, 9_000.0)
            for k, delay_s in enumerate(delays)
        ]

    def estimate(self, second: int) -> DelayEstimate | None:
        return self.made[second // 20] if second // 20 < len(self.made) else None


@pytest.mark.parametrize(
    ("delays", "bad_at", "since", "good_at"),
    [
        ([21], None, 0, None),
        ([21, 21], 1, 0, None),
        ([19, 19, 19], None, 0, None),
        ([21, 19, 21, 21], 3, 2, None),  # in a row
        ([3, 3, 16, 16], None, 0, None),  # its own delay is not known yet
        ([3, 3, 3, 16, 16], 4, 3, None),
        ([3, 3, 3, 12, 12, 12], None, 0, None),  # 9 s more than its own, and 13 s at least
        ([8, 8, 8, 16, 16], None, 0, None),
        ([8, 8, 8, 17, 17], 4, 3, None),
        ([21, 21, *[5] * 6], 1, 0, 7),
        ([21, 21, *[5] * 5], 1, 0, None),
        ([21, 21, *[5] * 5, 12, *[5] * 6], 1, 0, 13),  # what is neither late nor fine begins anew
    ],
)
def test_estimates_are_late_in_a_row_and_fine_in_a_row(delays, bad_at, since, good_at) -> None:
    """Two of 20 s, or of 9 s more than its own in at least three; six that are fine end it."""
    session = SessionState(ONE)
    rule = Late(session, session.tests[0], _Told(delays))  # type: ignore[arg-type]
    said = []
    for second in range(20 * len(delays)):
        for sensor in session.sensors:
            sensor.held.append(100_000)
        session.second = second
        said.append(int(rule.step(second)))
    bad = said.index(1) if 1 in said else None
    assert bad == (None if bad_at is None else 20 * bad_at)
    if bad is not None:
        assert rule.since() == 20 * since
        good = said.index(-1, bad) if -1 in said[bad:] else None
        assert good == (None if good_at is None else 20 * good_at)


@pytest.mark.parametrize(("delay_s", "told"), [(20, False), (22, True)])
def test_a_sensor_that_sends_seldom_is_given_the_age_of_its_values(delay_s, told) -> None:
    """Most of its spacings are 3 s, so that it may show a change 2 s later than others."""
    times, spacings = [0.5], itertools.cycle([1, 3, 3, 1, 3])
    while times[-1] < 600:
        times.append(times[-1] + next(spacings))

    def swing(t: float) -> float:
        return 135 + 30 * math.sin(t / 45) + 1.2 * math.sin(t * 1.3)

    seldom = [hr(t, 2, round(swing(t - delay_s))) for t in times]
    board = play(ONE, stream(1, 0.2, 600, swing), seldom, until_s=600, rules=_late)
    assert bool(board.warnings) is told
