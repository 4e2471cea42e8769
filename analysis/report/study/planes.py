"""The pairs of many sessions of a sensor on one plane: against the reference, and differences.

They show where errors lie.  Seconds are drawn, and longer sessions show more of themselves: no
statistic rests on these counts.  What stands beside them is the mean over sessions.
"""

from __future__ import annotations

import numpy as np
from matplotlib import pyplot as plt
from matplotlib.axes import Axes

from analysis.report.cell_shades import even_steps, shade_cells
from analysis.report.palette import LIGHT
from analysis.report.study.shown import difference_ends, pairs_over, plane_ends, r_text
from analysis.session.pair_counts import CELL_BPM, Counts
from analysis.statistics.agreement import Tolerance
from analysis.study.statistic import BIAS
from analysis.study.study import Activity


def plot_plane(activity: Activity, name: str, ax: Axes | None = None, *, band: bool = True) -> Axes:
    """All pairs of a sensor in an activity, sensor up and reference across, with the line of
    equality and the tolerance (dashed; ``band``: whether it is drawn).  All sensors of the activity
    have the same axes.
    """
    axes = plt.subplots(figsize=(4.5, 4.5))[1] if ax is None else ax
    centres, counts = pairs_over(activity.sensor(name))
    _shade(axes, activity, centres.astype(float), counts, (CELL_BPM, CELL_BPM))
    low, high = plane_ends(activity)
    session = activity.sessions[0]
    bpm = np.linspace(low, high, 80)
    half = Tolerance(session.tolerance_bpm, session.tolerance_percent).half_width(bpm)
    axes.plot(bpm, bpm, color=LIGHT["ink"], linewidth=1)
    for edge in (bpm - half, bpm + half) if band else ():
        axes.plot(bpm, edge, color=LIGHT["faint"], linewidth=1, linestyle="--")
    axes.set_xlim(low, high)
    axes.set_ylim(low, high)
    axes.set_aspect("equal")
    _dress(axes, name, f"{session.reference}, bpm", "sensor, bpm")
    axes.text(
        0.03, 0.97, r_text(activity.sensor(name)), transform=axes.transAxes, va="top", fontsize=8,
        color=LIGHT["ink"], parse_math=False, linespacing=1.3,
        bbox={"facecolor": LIGHT["ground"], "edgecolor": "none", "alpha": 0.8, "pad": 1.5},
    )  # fmt: skip
    return axes


def plot_difference_plane(activity: Activity, name: str, ax: Axes | None = None) -> Axes:
    """The same pairs, difference up and mean across, with the bias (solid) and the limits of
    agreement (dashed) over sessions.  All sensors of the activity have the same axes.
    """
    axes = plt.subplots(figsize=(4.5, 3.5))[1] if ax is None else ax
    result = activity.sensor(name)
    centres, counts = pairs_over(result)
    turned = np.column_stack([centres.mean(axis=1), centres[:, 1] - centres[:, 0]]).astype(float)
    # Seen along these axes a cell is a rhombus; as a box of its own height it leaves no holes.
    _shade(axes, activity, turned, counts, (CELL_BPM, CELL_BPM))
    axes.axhline(0, color=LIGHT["faint"], linewidth=0.8)
    for estimate, dash in (
        (result.every.of(BIAS), "-"), (result.every.loa_low, "--"), (result.every.loa_high, "--"),
    ):  # fmt: skip
        if estimate.value is not None:
            axes.axhline(estimate.value, color=LIGHT["ink"], linewidth=1, linestyle=dash, zorder=3)
    axes.set_xlim(*plane_ends(activity))
    axes.set_ylim(*difference_ends(activity))
    _dress(axes, name, f"mean of sensor and {activity.sessions[0].reference}, bpm",
           "sensor − reference, bpm")  # fmt: skip
    return axes


def _shade(
    axes: Axes,
    activity: Activity,
    centres: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
    counts: Counts,
    size: tuple[float, float],
) -> None:
    most = max((int(pairs_over(one)[1].max(initial=1)) for one in activity.sensors), default=1)
    shade_cells(axes, centres, counts, even_steps(most), size)


def _dress(axes: Axes, name: str, x: str, y: str) -> None:
    axes.set_facecolor(LIGHT["ground"])
    axes.figure.set_facecolor(LIGHT["ground"])
    axes.tick_params(colors=LIGHT["ink"])
    for spine in axes.spines.values():
        spine.set_color(LIGHT["faint"])
    axes.grid(color=LIGHT["rule"], linewidth=0.5)
    axes.set_axisbelow(True)
    axes.set_xlabel(x, color=LIGHT["ink"], parse_math=False)
    axes.set_ylabel(y, color=LIGHT["ink"], parse_math=False)
    axes.set_title(name, color=LIGHT["ink"], parse_math=False, fontweight="bold", loc="left")
