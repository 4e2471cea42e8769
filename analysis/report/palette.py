"""Colours of page and figures: those of the window, in a light and a dark scheme.

Each colour has a name.  Figures are drawn in the light scheme; in a page every colour of a figure
becomes a reference to its name, and the page gives the names their values, so that one picture
serves light, dark and print.  All light values differ, or they could not be told apart again.
"""

from __future__ import annotations

import math
from types import MappingProxyType
from typing import Any, Final

SENSOR_COLOURS: Final = 7
"""Beyond these the colours repeat, with dashed lines."""

LIGHT: Final = MappingProxyType(
    {
        "ground": "#fbfaf7",
        "panel": "#eceae4",
        "ink": "#1c1f23",
        "faint": "#595f66",
        "rule": "#d5d2ca",
        "band": "#c8d2dd",
        "band-edge": "#66727f",
        "band-core": "#20272f",
        "alarm": "#a8102c",
        "caution": "#8a5a00",
        "alarm-tint": "#f6dfe0",
        "caution-tint": "#f5e8cd",
        "focus": "#1f5fae",
        "shade-1": "#c9d8e6",
        "shade-2": "#93b3d1",
        "shade-3": "#5a88b5",
        "shade-4": "#24507d",
        "sensor-1": "#9c3f80",
        "sensor-2": "#c04f00",
        "sensor-3": "#1a739f",
        "sensor-4": "#007a58",
        "sensor-5": "#6b6400",
        "sensor-6": "#0a5f9e",
        "sensor-7": "#8a5f00",
    }
)

DARK: Final = MappingProxyType(
    {
        "ground": "#1d232a",
        "panel": "#14191f",
        "ink": "#eceff2",
        "faint": "#a3adb7",
        "rule": "#353d47",
        "band": "#3a4756",
        "band-edge": "#8b9aab",
        "band-core": "#dfe6ee",
        "alarm": "#ff7a86",
        "caution": "#f0b64a",
        "alarm-tint": "#4a2229",
        "caution-tint": "#41341b",
        "focus": "#7fb8ff",
        "shade-1": "#2c4256",
        "shade-2": "#466b8c",
        "shade-3": "#6c9bc5",
        "shade-4": "#b4d7f7",
        "sensor-1": "#dd93bd",
        "sensor-2": "#f4883a",
        "sensor-3": "#8fd0f5",
        "sensor-4": "#22bd90",
        "sensor-5": "#efe45a",
        "sensor-6": "#62a8e8",
        "sensor-7": "#e8a813",
    }
)

_HALF_DISC: Final = tuple(
    (math.cos(math.radians(angle)), math.sin(math.radians(angle))) for angle in range(-90, 91, 10)
)
SHAPES: Final[tuple[Any, ...]] = ("D", "o", "^", "s", "*", "P", _HALF_DISC, "X")
"""Marker of each test sensor in turn, as matplotlib takes them: diamond, disc, triangle, square,
star, plus, half disc, cross."""

SIGNS: Final = ("◆", "●", "▲", "■", "★", "✚", "◗", "✖")
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
