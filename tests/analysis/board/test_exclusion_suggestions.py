"""Which stretches the analysis may leave out, from the warnings of a session."""

from __future__ import annotations

import pytest

from analysis.board.exclusion_suggestions import is_left_out, suggest_exclusions
from analysis.board.snapshot import SensorWarning, Severity
from analysis.board.snapshot import WarningKind as K
from analysis.statistics.stretch import Stretch
from tests.standins.session_events import plan_of

SILENT = "the reference was silent"


def _warning(kind: K, since_s: int, end_s: int | None, sensor: int = 1) -> SensorWarning:
    return SensorWarning(
        number=1, kind=kind, sensor=sensor, severity=Severity.REFERENCE_FAULT, since_s=since_s,
        start_s=since_s + 5, end_s=end_s, cause="", advice="",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("since_s", "end_s", "stretches"),
    [
        (10, 20, [(10, 20)]), (10, None, [(10, 100)]), (90, 130, [(90, 100)]),
        (99, None, [(99, 100)]), (100, None, []), (100, 120, []), (30, 30, []),
    ],
)  # fmt: skip
def test_a_stretch_is_from_the_fault_to_the_end_of_its_warning(since_s, end_s, stretches) -> None:
    """Or of the session; what has no second in it is none."""
    found = suggest_exclusions([_warning(K.SILENT, since_s, end_s)], plan_of(), 100)
    assert found == [Stretch(start, end, SILENT, 1) for start, end in stretches]


@pytest.mark.parametrize(
    ("kind", "left_out"),
    [
        (K.SILENT, True), (K.NO_CONTACT, True), (K.LOOSE_REFERENCE, True),
        (K.REFERENCE_LOST, True), (K.NOT_STARTED, True),
        (K.OUTVOTED_REFERENCE, False), (K.LOW_BATTERY, False), (K.THINNING, False),
        (K.UNIT_SLIP, False), (K.WEAK_SIGNAL, False), (K.FROZEN, False),
    ],
)  # fmt: skip
def test_only_what_the_references_own_signal_shows_is_left_out(kind, left_out) -> None:
    """Never what rests on the test sensors, nor what does not touch its value."""
    warning = _warning(kind, 10, 20)
    assert is_left_out(warning) is left_out
    assert bool(suggest_exclusions([warning], plan_of(), 100)) is left_out


def test_faults_of_other_sensors_leave_nothing_out() -> None:
    """They are what is measured; stretches stand in order, each with its own reason."""
    warnings = [
        _warning(K.SILENT, 50, 70),
        _warning(K.SILENT, 0, 90, sensor=2),
        _warning(K.NO_CONTACT, 20, 60),
        _warning(K.NO_CONTACT, 20, 40),
    ]
    off = "the reference had no contact"
    assert suggest_exclusions(warnings, plan_of(), 100) == [
        Stretch(20, 40, off, 1), Stretch(20, 60, off, 1), Stretch(50, 70, SILENT, 1),
    ]  # fmt: skip
