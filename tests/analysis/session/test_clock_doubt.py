"""How surely the clocks of two sensors are known, and what a delay makes of it."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import pytest

from analysis.session.clock_doubt import (
    BY_ARRIVAL,
    BY_HEART,
    aligned_by,
    clock_doubt_s,
    with_clock_doubt,
    with_senders_clock,
)
from analysis.statistics.delay import SURE_HALF_INTERVAL_S
from analysis.statistics.estimate import Estimate
from replay.message_form import MessageForm
from replay.plan import CAPTURE_CLOCK, PlannedSensor

LIVE = PlannedSensor(label="Yarrow", role="reference", source="mqtt", topic="b/y")


def imported(alignment: str = "estimated", offset_s: float = 2.0, clock: str = "x") -> Any:
    """A sensor of a file with a clock of its own."""
    return SimpleNamespace(
        alignment=alignment,
        offset_s=offset_s,
        on_capture_clock=False,
        clock=clock,
        shares_clock=lambda _: False,
    )


def doubt(
    test: Any, note: dict[str, object] | None, reference: Any = LIVE, other: Any = None
) -> float | None:
    """Of a test sensor with what its import noted, against a reference."""
    imports = {} if note is None else {2: note}
    if other is not None:
        imports[1] = other
    data = SimpleNamespace(imports=imports, reference=SimpleNamespace(number=1, sensor=reference))
    return clock_doubt_s(data, SimpleNamespace(number=2, sensor=test))  # type: ignore[arg-type]


def by_presses(low: float, high: float) -> dict[str, object]:
    """A note of an import: how it was aligned, and how surely."""
    return {"aligned_by": "lap presses", "offset_s_interval": [low, high]}


def test_sensors_of_one_clock_leave_no_doubt() -> None:
    """Two that were recorded live, whatever else is known."""
    test = PlannedSensor(label="Sorrel", role="test", source="mqtt", topic="b/s")
    assert doubt(test, None) == 0.0


@pytest.mark.parametrize(("readings", "known"), [(9, None), (10, 0.0)])
@pytest.mark.parametrize("placed_first", [True, False])
def test_a_clock_is_unknown_where_more_than_one_in_ten_readings_could_not_be_placed(
    readings: int, known: float | None, placed_first: bool
) -> None:
    """Of a node, whichever of the two it sends for; what arrived by itself has no clock to know."""
    node = PlannedSensor(label="Sorrel", role="test", source="node", node="attic", name="Sorrel")
    sent: Any = SimpleNamespace(number=2, sensor=node, unplaced=1, t_ns=range(readings))
    live: Any = SimpleNamespace(number=1, sensor=LIVE, unplaced=1, t_ns=range(1))
    reference, test = (live, sent) if placed_first else (sent, live)
    data: Any = SimpleNamespace(imports={}, reference=reference)
    assert clock_doubt_s(data, test) == known


def test_the_wider_end_of_the_interval_is_the_doubt() -> None:
    """Measured from the offset that was taken."""
    assert doubt(imported(), by_presses(1.8, 2.1)) == pytest.approx(0.2)
    assert doubt(imported(), by_presses(1.9, 2.3)) == pytest.approx(0.3)
    assert doubt(imported("confirmed"), by_presses(1.9, 2.3)) == pytest.approx(0.3)


def test_the_doubts_of_two_clocks_add_up_as_squares() -> None:
    """They err apart."""
    found = doubt(imported(), by_presses(1.7, 2.3), imported(), by_presses(1.6, 2.2))
    assert found == pytest.approx(math.hypot(0.3, 0.4))
    assert doubt(imported(), by_presses(1.7, 2.3), imported(), {}) is None


def test_what_is_not_known_well_enough_is_not_known() -> None:
    """Half of the interval may be as wide as that of a delay that is sure, and no wider."""
    sure = SURE_HALF_INTERVAL_S
    assert doubt(imported(offset_s=0.0), by_presses(-sure, 0.0)) == sure
    assert doubt(imported(offset_s=0.0), by_presses(-1.01 * sure, 0.0)) is None


@pytest.mark.parametrize(("alignment", "clock"), [("own clock", "x"), ("estimated", CAPTURE_CLOCK)])
def test_a_clock_that_is_the_captures_needs_no_alignment(alignment: str, clock: str) -> None:
    """Of files alone one is, and that of a file which the same computer stamped."""
    assert doubt(imported(alignment, clock=clock), None) == 0.0


@pytest.mark.parametrize(
    ("alignment", "note"),
    [
        ("by hand", by_presses(1.9, 2.1)),
        ("estimated", {"aligned_by": BY_HEART, "offset_s_interval": [1.9, 2.1]}),
        ("estimated", {"aligned_by": None, "offset_s_interval": [1.9, 2.1]}),
        ("estimated", {"offset_s_interval": [1.9, 2.1]}),
        ("estimated", {"aligned_by": "cadence"}),
        ("estimated", {"aligned_by": "cadence", "offset_s_interval": "1.9 to 2.1"}),
        ("estimated", {"aligned_by": "cadence", "offset_s_interval": [1.9, "2.1"]}),
        ("estimated", {"aligned_by": "cadence", "offset_s_interval": []}),
        ("estimated", None),
    ],
)
def test_a_clock_that_nothing_but_the_heart_has_shown_is_not_known(alignment, note) -> None:
    """Nor one whose interval nobody noted, or noted as no numbers."""
    assert doubt(imported(alignment), note) is None


def test_what_a_file_was_aligned_by_is_told_in_its_words() -> None:
    """Nothing is nothing."""
    data: Any = SimpleNamespace(imports={2: {"aligned_by": "cadence"}, 3: {"aligned_by": None}})
    series = [SimpleNamespace(number=number) for number in (2, 3, 4)]
    assert [aligned_by(data, one) for one in series] == ["cadence", "", ""]  # type: ignore[arg-type]


def test_an_interval_that_knows_of_the_clocks_is_wider_on_both_sides() -> None:
    """Each side as a sum of squares; the sentence gives way to one that is there already."""
    delay = Estimate(5.0, (4.6, 5.3), 40.0)
    found = with_clock_doubt(delay, 0.3, "cadence")
    assert found.interval == pytest.approx((4.5, 5 + math.hypot(0.3, 0.3)))
    assert (found.value, found.effective_count) == (5.0, 40.0)
    assert found.caution.startswith("Its clock was set by cadence")
    said = with_clock_doubt(Estimate(5.0, (4.6, 5.3), 40.0, "Unsure."), 0.3, "cadence")
    assert said.caution == "Unsure."


@pytest.mark.parametrize(
    ("delay", "by"),
    [
        (Estimate(None, caution="x"), "cadence"),
        (Estimate(5.0), "cadence"),
        (Estimate(5.0, (4.6, 5.4)), ""),
    ],
)
def test_without_an_interval_or_an_alignment_a_delay_stays_as_it_is(delay, by) -> None:
    """There is nothing to widen, or nothing to widen it by."""
    assert with_clock_doubt(delay, 0.3, by) is delay


TIMED = PlannedSensor(
    label="Sorrel",
    role="test",
    source="mqtt",
    topic="b/s",
    message=MessageForm(value="bpm", time="at"),
)


@pytest.mark.parametrize(
    ("delay", "sensors", "caution"),
    [
        (Estimate(5.0), (LIVE, TIMED), BY_ARRIVAL),
        (Estimate(5.0), (TIMED, LIVE), BY_ARRIVAL),
        (Estimate(5.0), (LIVE, LIVE), ""),
        (Estimate(5.0, caution="Unsure."), (LIVE, TIMED), "Unsure."),
        (Estimate(None, caution="Too few."), (LIVE, TIMED), "Too few."),
        (Estimate(None), (LIVE, TIMED), ""),
    ],
)
def test_a_delay_says_that_it_rests_on_arrival(delay, sensors, caution) -> None:
    """Where a sender told a time of its own too; what stands against the delay comes first."""
    assert with_senders_clock(delay, *sensors).caution == caution
