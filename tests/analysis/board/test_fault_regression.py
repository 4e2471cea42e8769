"""Twenty seeded sessions of the second generator: what must be found, when, and what not be said.

Numbers are those of the rules as they stand, with a margin.  What falls short of the goal is
written down as such: ``gaps`` with the reason and with what is said instead, ``alarms`` and
``before`` (goal: none).  A rule that gets better has to make its row stricter; none may be loosened
without a reason.
``python -m benchmarks.field_sim --show SEED --course … --faults … --minutes 17 20`` prints a row's
session.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import pytest

from analysis.board import Board
from analysis.board.snapshot import SensorWarning, WarningKind
from benchmarks.field_sim.labels import JUDGEMENTS, Fault
from benchmarks.field_sim.session import draw_session
from benchmarks.scoring.score import Session, score
from tests.standins.session_events import assert_readable, listened

QUIET_S: Final = 120
"""So long before a fault no warning may be raised that nothing explains."""

Times = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Gap:
    """A fault that is not found by its own warning, or not in the time that is the ``goal``, s.

    ``told``: the warning about its sensor that there is, and how long after the fault can be known;
    ``None``: nothing is said while it lasts.
    """

    goal: Times
    told: tuple[WarningKind, Times] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """``found``: earliest and latest time to find each kind of fault, s.  ``gaps``: kinds that
    are not found at all or not in time.  ``alarms``: most false alarms by kind; ``before``: most of
    them in the stretch before a fault.
    """

    seed: int
    course: str
    found: dict[str, Times] = field(default_factory=dict)
    gaps: dict[str, Gap] = field(default_factory=dict)
    alarms: dict[str, int] = field(default_factory=dict)
    before: int = 0

    @property
    def kinds(self) -> tuple[str, ...]:
        """The faults to put in."""
        return (*self.found, *self.gaps)


ROWS: Final = (
    Row(
        seed=701,
        course="intervals 4x4",
        found={"late": (0, 5), "loose strap": (0, 6)},
    ),
    Row(
        seed=702,
        course="climbs",
        found={"relay of bpm": (30, 90)},
        # Right not to be told: the heart stays at 141 to 144 bpm meanwhile, which is what a sensor
        # that smooths and reads 3 bpm less would show as 139.  The label counts one second of 144.
        gaps={"frozen": Gap((0, 10), None)},
    ),
    Row(
        seed=703,
        course="easy run",
        found={"relay": (8, 34), "off the skin, told": (1, 8)},
    ),
    Row(
        seed=705,
        course="kettlebell sets",
        found={"sensor silent": (1, 8), "frozen": (2, 9)},
    ),
    Row(
        seed=706,
        course="stairs",
        found={"relay with a unit slip": (8, 34)},
        # Nothing comes for the first 20 s, which is said; a rate is known once some have come, and
        # the one that is usual has to be missing for 20 s: "thinning" is told after 41 s.
        gaps={"thinning": Gap((0, 30), (WarningKind.SILENT, (1, 10)))},
    ),
    Row(
        seed=707,
        course="ramp",
        found={"twin": (7, 30), "reference silent": (2, 9)},
    ),
    Row(
        seed=708,
        course="easy run",
        found={"off the skin, 0 bpm": (1, 8)},
        # One beat in twelve is left out as well as one notification in ten: 1.10 in place of 1.024.
        # When the beats come tells it after 306 s: the doubt of that account shrinks with its
        # length, and a bound that is moved for 6 s here would be moved for good sensors too.
        gaps={"unit slip": Gap((0, 300), (WarningKind.UNIT_SLIP, (300, 330)))},
    ),
    Row(
        seed=709,
        course="climbs",
        # Both send what optical sensors send, so that only efforts can tell; two that lead are
        # chance too often, and the third climb ends 238 s after the second.
        gaps={"labels swapped": Gap((0, 60), (WarningKind.SWAPPED_LABELS, (200, 260)))},
    ),
    Row(
        seed=710,
        course="ramp",
        found={"flips sides": (21, 86), "dry strap at start": (0, 8)},
    ),
    Row(
        seed=711,
        course="rest",
        found={"not started": (4, 16), "half outside": (82, 180)},
    ),
    Row(
        seed=712,
        course="run from the first second",
        found={"loose strap": (4, 10), "on cadence from the start": (5, 22)},
    ),
    Row(
        seed=813,
        course="stairs",
        # Twice, by up to 120 bpm, but outside for 22 and 42 s only: "apart" asks for 52 in 80,
        # since lapses of 40 s are what wrist sensors in good order have on stairs.
        gaps={"swings on stairs": Gap((0, 90), None)},
    ),
    Row(
        seed=714,
        course="easy run",
        found={"on cadence": (5, 20), "flips sides": (26, 90)},
    ),
    Row(
        seed=815,
        course="intervals 4x4",
        # The missed one stands at 127 bpm while the sensor's own RR say 149, and is called frozen;
        # "apart" would say less.  The blunted one is apart from 671 s on and called so 51 s later:
        # the label counts from a second in the rest before, 132 s earlier, that noise put outside.
        gaps={
            "missed effort": Gap((0, 90), (WarningKind.FROZEN, (15, 35))),
            "blunted effort": Gap((0, 90), (WarningKind.APART, (175, 195))),
        },
    ),
    Row(
        seed=716,
        course="walking",
        found={"cold hands": (21, 90)},
    ),
    Row(
        seed=717,
        course="easy run",
        found={"wrong arm reference": (19, 78), "not started": (4, 16)},
    ),
    Row(
        seed=718,
        course="rest",
    ),
    Row(
        seed=719,
        course="kettlebell sets",
    ),
    Row(
        seed=720,
        course="intervals 4x4",
    ),
    Row(
        seed=721,
        course="easy run",
    ),
)


def _played(session: Session) -> tuple[tuple[SensorWarning, ...], set[str]]:
    """The warnings of a session, and all that was said in any of its seconds."""
    board = Board(session.plan)
    said = listened(board)
    for event in session.events:
        board.feed(event)
    board.finish(round(session.duration_s * 1e9))
    return board.warnings, said


def assert_told_instead(
    gap: Gap, faults: Sequence[Fault], warnings: Sequence[SensorWarning]
) -> None:
    """What is said while such a fault lasts is what its gap states."""
    for fault in faults:
        told = {
            one.kind: one.start_s - fault.start_s
            for one in reversed(warnings)
            if one.sensor == fault.sensor and fault.start_s <= one.start_s < fault.end_s
        }
        if gap.told is None:
            assert told == {}
            continue
        kind, (earliest, latest) = gap.told
        assert earliest <= told[kind] <= latest, told


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.seed}, {row.course}")
def test_a_session_draws_the_warnings_that_it_deserves(row: Row):
    """Faults are found neither too late nor too early, little is said that nothing explains, and
    each sentence can be read: as it is raised, in every second in which it stands, and at its end.
    """
    session = draw_session(
        row.seed, with_faults=bool(row.kinds), kinds=row.kinds, course=row.course, minutes=(17, 20)
    )
    warnings, said = _played(session)
    for sentence in said:
        assert_readable(sentence)
    scored = score(session, warnings, JUDGEMENTS)
    for kind, (earliest, latest) in row.found.items():
        times = [one.found_s for one in scored.outcomes if one.kind == kind]
        assert times, f"{kind} was not put in"
        assert all(time is not None and earliest <= time <= latest for time in times), (kind, times)
    for kind, gap in row.gaps.items():
        earliest, latest = gap.goal
        times = [one.found_s for one in scored.outcomes if one.kind == kind]
        assert times, f"{kind} was not put in"
        assert not all(time is not None and earliest <= time <= latest for time in times), kind
        assert_told_instead(gap, [one for one in session.faults if one.kind == kind], warnings)
    alarms = [*scored.alarms, *scored.clean_alarms]
    counts = Counter(alarm.kind for alarm in alarms)
    assert {kind: n for kind, n in counts.items() if n > row.alarms.get(kind, 0)} == {}, alarms
    starts = [fault.began_s for fault in session.faults if JUDGEMENTS[fault.kind].right]
    before = [alarm for alarm in alarms if any(s - QUIET_S <= alarm.start_s < s for s in starts)]
    assert len(before) <= row.before, before


def test_every_kind_of_fault_is_in_a_session():
    """Each kind that asks for a warning stands in a row, found or as a known gap."""
    listed = {kind for row in ROWS for kind in row.kinds}
    assert {kind for kind, judgement in JUDGEMENTS.items() if judgement.right} - listed == set()


def test_clean_sessions_are_among_them():
    """Some sessions are without faults: at rest, in sets, in intervals and in an easy run."""
    clean = {row.course for row in ROWS if not row.kinds}
    assert clean == {"rest", "kettlebell sets", "intervals 4x4", "easy run"}
