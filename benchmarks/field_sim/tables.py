"""The generator's tables beside the published ones."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence

import numpy as np
import numpy.typing as npt

from benchmarks.field_sim import measures
from benchmarks.field_sim.course import draw_course
from benchmarks.field_sim.heart import Beats, beat, draw_person, rate_over
from benchmarks.field_sim.optical import (
    Optical,
    draw_armband,
    draw_wrist,
    estimate,
    readings,
    swinging,
)
from benchmarks.field_sim.published import (
    BEAT_CHANGES,
    OPTICAL_ERRORS,
    RR_PER_NOTIFICATION,
    SPACING_S,
    BeatChanges,
)
from benchmarks.field_sim.sent import Strap, draw_strap, strap_sent

Floats = npt.NDArray[np.float64]

_BEAT_COURSES = (
    "rest", "rest", "walking", "stairs", "intervals 4x4", "ramp", "easy run", "kettlebell sets",
)  # fmt: skip
_OPTICAL = {
    "wrist, intervals on an ergometer": ("intervals 4x4", "wrist"),
    "armband, light": ("walking", "arm"),
    "armband, rest–exercise–recovery": ("ramp", "arm"),
    "wristband, stairs": ("stairs", "swinging"),
}


def heart_series(seed: int, wearers: int, *, many: bool = False) -> Iterator[Floats]:
    """RR (s) of wearers on drawn courses; ``many``: those with premature beats all the time."""
    found = 0
    number = 0
    while found < wearers:
        rng = np.random.default_rng([seed, number])
        number += 1
        person = draw_person(rng)
        if person.many_premature is not many:
            continue
        name = _BEAT_COURSES[found % len(_BEAT_COURSES)]
        yield np.diff(beat(person, draw_course(name, 1500, rng), rng).at_s)
        found += 1


def optical_session(name: str, seed: int) -> measures.MeasuredErrors:
    """One session of the kind that a row of the table of optical sensors speaks of."""
    rng = np.random.default_rng([seed, 3])
    course_name, kind = _OPTICAL[name]
    course = draw_course(course_name, 1500, rng)
    beats = beat(draw_person(rng), course, rng)
    sensor = _sensor(kind, rng)
    shown = readings(estimate(beats, course, sensor, rng), sensor.band_bpm).astype(np.float64)
    return measures.optical_errors(shown, _strap_shows(beats))


def _strap_shows(beats: Beats) -> Floats:
    """What the straps of those recordings show: the mean of the last seven intervals."""
    return np.round(rate_over(beats.at_s, len(beats.bpm), 7))


def _sensor(kind: str, rng: np.random.Generator) -> Optical:
    if kind == "arm":
        return draw_armband(rng)
    return swinging(draw_wrist(rng), rng) if kind == "swinging" else draw_wrist(rng)


def arrival(seed: int, sessions: int) -> tuple[list[float], dict[int, float], float]:
    """Spacing (s) at the shares of the published row; percent with 1, 2, 3 RR; with none.

    Of sessions between 70 and 150 bpm.
    """
    spacing: list[float] = []
    counts: Counter[int] = Counter()
    for number in range(sessions):
        rng = np.random.default_rng([seed, number, 7])
        course = draw_course(("walking", "easy run", "ramp")[number % 3], 1500, rng)
        beats = beat(draw_person(rng), course, rng)
        drawn = draw_strap(rng)
        sent = strap_sent(
            beats.at_s.tolist(), Strap(drawn.window, drawn.median, drawn.tells_contact), 1500, rng
        )
        spacing += np.diff([packet.t_s for packet in sent]).tolist()
        counts.update(len(packet.rr) for packet in sent[2:] if 70 <= packet.bpm <= 150)
    total = sum(counts.values())
    shares = [float(name.rstrip(" %")) for name in SPACING_S]
    per = {count: 100 * counts[count] / total for count in RR_PER_NOTIFICATION}
    return np.percentile(spacing, shares).tolist(), per, 100 * counts[0] / total


def text(seed: int = 1, wearers: int = 48, sessions: int = 12) -> str:
    """All tables as Markdown: what was measured, then what is made here."""
    lines = ["### Beat to beat, percent", ""]
    lines += _head("heart rate", "of", "beats", "change 50 / 90 / 99 / 99.9", "over 15",
                   "swing 50 / 90 / 99")  # fmt: skip
    ordinary = measures.beat_changes(heart_series(seed, wearers))
    often = measures.beat_changes(heart_series(seed, max(wearers // 6, 8), many=True))
    for row, made, many in zip(BEAT_CHANGES, ordinary, often, strict=True):
        lines.append(_beat_line(f"{row.band} | recordings | ", row))
        for name, one in (("made", made), ("made, many premature", many)):
            lines.append(_beat_line(f" | {name} | {one.beats}", one))
    spacing, per, none = arrival(seed, sessions)
    lines += ["", "### Arrival", ""]
    lines += _head("of", f"spacing s {' / '.join(SPACING_S)}", "1 / 2 / 3 RR, %", "no RR, %")
    ranges = " / ".join(f"{low:g}–{high:g}" for low, high in RR_PER_NOTIFICATION.values())
    lines.append(f"| recordings | {_joined(SPACING_S.values(), 2)} | {ranges} | under 0.1 |")
    lines.append(f"| made | {_joined(spacing, 2)} | {_joined(per.values(), 0)} | {none:.2f} |")
    lines += ["", "### Optical sensors against the strap", ""]
    lines += _head("sensor", "of", "SD", "error 50 / 90 / 99",
                   "autocorrelation 1, 5, 10, 30, 60 s", "shift all / rising / falling s",
                   "runs 50 / 90 / 99")  # fmt: skip
    for published in OPTICAL_ERRORS:
        rows = [optical_session(published.name, seed + number) for number in range(sessions)]
        lines.append(
            f"| {published.name} | recordings | {_range(published.sd)} "
            f"| {' / '.join(map(_range, published.error))} "
            f"| {' '.join(map(_range, published.autocorrelation))} "
            f"| {' / '.join(map(_range, published.shift))} "
            f"| {' / '.join(map(_range, published.runs))} |"
        )
        lines.append(
            f"| | made | {_spread([row.sd for row in rows])} "
            f"| {_spreads([row.error for row in rows], ' / ')} "
            f"| {_spreads([row.autocorrelation for row in rows], ' ', 2)} "
            f"| {_spreads([row.shift for row in rows], ' / ')} "
            f"| {_spreads([row.runs for row in rows], ' / ')} |"
        )
    lines += ["", "Made: lowest and highest quarter of the sessions left out.", ""]
    return "\n".join(lines)


def _head(*names: str) -> list[str]:
    return ["| " + " | ".join(names) + " |", "|" + "---|" * len(names)]


def _beat_line(begin: str, row: BeatChanges | measures.MeasuredBeats) -> str:
    return f"| {begin} | {_joined(row.change, 1)} | {row.over_15:.2f} | {_joined(row.swing, 0)} |"


def _joined(values: Iterable[float], places: int) -> str:
    return " / ".join(f"{value:.{places}f}" for value in values)


def _range(pair: tuple[float, float]) -> str:
    return f"{pair[0]:g}" if pair[0] == pair[1] else f"{pair[0]:g}–{pair[1]:g}"


def _spread(values: Sequence[float], places: int = 1) -> str:
    low, high = np.percentile(values, (25, 75))
    return f"{low:.{places}f}–{high:.{places}f}"


def _spreads(rows: Sequence[Sequence[float]], sign: str, places: int = 1) -> str:
    return sign.join(_spread(column, places) for column in zip(*rows, strict=True))
