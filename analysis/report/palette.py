"""Colours of page and figures: those of the window, in a light and a dark scheme.

Each colour has a name.  Figures are drawn in the light scheme; in a page every colour of a figure
becomes a reference to its name, and the page gives the names their values, so that one picture
serves light, dark and print.  All light values differ, or they could not be told apart again.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

SENSOR_COLOURS: Final = 7
"""Beyond these the colours repeat, with dashed lines."""

LIGHT: Final = MappingProxyType(
    {
        "ground": "#fbfaf7",
        "panel": "#eceae4",
        "ink": "#1c1f23",
        "faint": "#595f66",
        "rule": "#d5d2ca",
        "band": "#20272f",
        "band-edge": "#20272e",
        "band-core": "#b9c3ce",
        "alarm": "#a8102c",
        "caution": "#8a5a00",
        "alarm-tint": "#f6dfe0",
        "caution-tint": "#f5e8cd",
        "focus": "#1f5fae",
        "shade-1": "#c9d8e6",
        "shade-2": "#93b3d1",
        "shade-3": "#5a88b5",
        "shade-4": "#24507d",
        "sensor-1": "#d55e00",
        "sensor-2": "#1277b8",
        "sensor-3": "#009e73",
        "sensor-4": "#b3609a",
        "sensor-5": "#b07a00",
        "sensor-6": "#2f8fc4",
        "sensor-7": "#857b00",
    }
)

DARK: Final = MappingProxyType(
    {
        "ground": "#1d232a",
        "panel": "#14191f",
        "ink": "#eceff2",
        "faint": "#a3adb7",
        "rule": "#353d47",
        "band": "#06080b",
        "band-edge": "#8492a1",
        "band-core": "#c5d0db",
        "alarm": "#ff7a86",
        "caution": "#f0b64a",
        "alarm-tint": "#4a2229",
        "caution-tint": "#41341b",
        "focus": "#7fb8ff",
        "shade-1": "#2c4256",
        "shade-2": "#466b8c",
        "shade-3": "#6c9bc5",
        "shade-4": "#b4d7f7",
        "sensor-1": "#f0812f",
        "sensor-2": "#3f9fe0",
        "sensor-3": "#1fbf90",
        "sensor-4": "#d98fb8",
        "sensor-5": "#e69f00",
        "sensor-6": "#7cc6f0",
        "sensor-7": "#f0e442",
    }
)

SHAPES: Final = ("o", "s", "^", "D", "X", "P", "*")
"""Marker of each test sensor in turn: disc, square, triangle, diamond, cross, plus, star."""

SIGNS: Final = ("●", "■", "▲", "◆", "✖", "✚", "★")
"""The same shapes as signs of text."""


def sensor_colour(index: int) -> str:
    """Name of the colour of a test sensor by its place among them."""
    return f"sensor-{index % SENSOR_COLOURS + 1}"


def css_variables(scheme: MappingProxyType[str, str]) -> str:
    """The scheme as declarations of custom properties."""
    return " ".join(f"--{name}: {value};" for name, value in scheme.items())


def luminance(colour: str) -> float:
    """Relative luminance of ``#rrggbb`` (WCAG 2.2, definition of relative luminance)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours (WCAG 2.2), 1 to 21."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)
