"""The tables of Bluetooth faults: what is measured anew replaces its row, and nothing else."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks.radio_sim import tables
from benchmarks.radio_sim.provoked import Outcome

DROP, AWAY, STORM = "link dropped by the sensor", "out of reach, 35 s", "storm, 8 sensors"


def outcome(fault: str, back_s: float, *, mocked: bool = False) -> Outcome:
    """One run: ten sent, one lost."""
    return Outcome(fault, recovery_s=[back_s], sent=10, lost=1, mocked=mocked)


def test_runs_of_a_fault_are_one_row_and_services_are_apart() -> None:
    """Counts add up; recovery is the median and the worst of all sensors of all runs."""
    rows = tables.figures([outcome(DROP, s) for s in (1, 2, 9)] + [outcome(DROP, 1, mocked=True)])
    assert [(row["second_service"], row["runs"], row["sent"], row["lost"]) for row in rows] == [
        (False, 3, 30, 3),
        (True, 1, 10, 1),
    ]
    assert (rows[0]["recovery_median_s"], rows[0]["recovery_worst_s"]) == (2.0, 9.0)


def test_a_part_that_is_measured_anew_leaves_the_other_rows(tmp_path: Path) -> None:
    """What is written is read again; the text above the mark stays; storms stand last."""
    path = tmp_path / "reliability.md"
    path.write_text(f"# Title\n\nWords.\n\n{tables.FIGURES_BELOW}\n", encoding="utf-8")
    first = [outcome(STORM, 3), outcome(AWAY, 1), outcome(DROP, 1, mocked=True)]
    tables.write(path, tables.sections(first, [(3, 140, 153)], {}))
    tables.write(path, tables.sections([outcome(DROP, 2), outcome(AWAY, 5)], [], {}))
    text = path.read_text(encoding="utf-8")
    assert text.startswith("# Title\n\nWords.\n")
    found = tables.read(text)
    assert list(found[tables.FAULTS]) == [DROP, AWAY, STORM]
    assert "5.0 s" in found[tables.FAULTS][AWAY]
    assert list(found[tables.SECOND]) == [DROP]
    assert found[tables.DROPS]["3 that are away"][:2] == ["140", "153"]


def test_a_file_without_the_mark_is_left_alone(tmp_path: Path) -> None:
    """Nobody's document is overwritten."""
    path = tmp_path / "other.md"
    path.write_text("# Other\n", encoding="utf-8")
    with pytest.raises(SystemExit, match="nothing written"):
        tables.write(path, tables.sections([outcome(DROP, 1)], [], {}))
    assert path.read_text(encoding="utf-8") == "# Other\n"
