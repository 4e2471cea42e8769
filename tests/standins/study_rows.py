"""Rows of sessions that never took place, for tests of a study."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from typing import Any, Final

from analysis.study.row import SensorRow, SessionRow
from analysis.study.study import Study, study_of

DAY_NS: Final = 86_400_000_000_000

SENSOR: Final = SensorRow(
    label="Sorrel",
    placement="left wrist",
    firmware="7.4",
    model="",
    imported=False,
    barred="",
    coverage_percent=99.0,
    late_start_s=0,
    pairs=2400,
    independent_pairs=40.0,
    sd_degrees=40.0,
    bias_bpm=0.5,
    sd_bpm=4.0,
    mae_bpm=3.0,
    mape_percent=2.5,
    within_percent=92.0,
    within_5_bpm_percent=85.0,
    pearson_r=0.95,
    concordance=0.94,
    slope=0.0,
    delay_s=3.0,
    judged=6,
    followed=6,
    late=0,
    blunted=0,
    missed=0,
    losses=0,
    lost_s=0,
    lost_percent=0.0,
)
"""A good session of a sensor."""

LOST: Final[Mapping[str, Any]] = {
    "mae_bpm": 15.0, "mape_percent": 12.0, "bias_bpm": -12.0, "within_percent": 60.0,
    "pearson_r": 0.4, "losses": 2, "lost_s": 500, "lost_percent": 21.0,
}  # fmt: skip
"""What a session is like in which the sensor lost the heart."""


def sensor_row(label: str = "Sorrel", **values: Any) -> SensorRow:
    """A test sensor in a session; ``values`` replace those of a good one."""
    return replace(SENSOR, label=label, **values)


def session_row(
    number: int, sensors: Sequence[SensorRow], *, activity: str = "rowing ergometer", **values: Any
) -> SessionRow:
    """Session ``number``, one a day, of W1 unless ``values`` say otherwise."""
    row = SessionRow(
        path=f"captures/{number:03d}.sqlite",
        uuid=f"uuid-{number}",
        started_utc_ns=1_770_000_000_000_000_000 + number * DAY_NS,
        wearer="W1",
        activity=activity,
        invented=False,
        clean=True,
        notes=0,
        duration_s=2700.0,
        tolerance_bpm=5.0,
        tolerance_percent=10.0,
        reference="Yarrow",
        reference_imported=False,
        reference_usable_percent=98.0,
        range_bpm=60,
        sensors=tuple(sensors),
    )
    return replace(row, **values)


def sessions(
    errors: Mapping[str, Sequence[float]], *, wearers: Sequence[str] = ("W1",), **values: Any
) -> list[SessionRow]:
    """Sessions in which each sensor, by its label, has these MAEs, the wearers taking turns; above
    10 bpm it lost the heart.

    Two sensors are on the left and the right wrist by turns, so that the arm explains nothing;
    others are on the upper arm.
    """
    places = ("left wrist", "right wrist")
    rows = []
    for number, maes in enumerate(zip(*errors.values(), strict=True)):
        sensors = [
            sensor_row(
                label,
                placement=places[(number + place) % 2] if place < 2 else "left upper arm",
                **(dict(LOST) if mae > 10 else {}) | {"mae_bpm": float(mae)},
            )
            for place, (label, mae) in enumerate(zip(errors, maes, strict=True))
        ]
        rows.append(session_row(number, sensors, wearer=wearers[number % len(wearers)], **values))
    return rows


@cache
def four_sessions() -> Study:
    """A study of four sessions with two sensors each, of which Sorrel is the closer one."""
    return study_of(sessions({"Sorrel": [1.0, 1.2, 0.9, 1.1], "Tansy": [2.0, 2.1, 2.2, 2.3]}))
