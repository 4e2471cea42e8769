"""The project's palette as the page's style sheet says it, light and dark."""

from __future__ import annotations

from typing import Final

from live.views.shared.palette import DARK, LIGHT, Theme

_NAMES: Final = (
    "ground", "panel", "ink", "faint", "rule", "frame", "band", "band_edge", "band_core",
    "reference", "alarm", "caution", "well", "focus",
)  # fmt: skip


def colours_css() -> str:
    """Custom properties by the names of :class:`~live.views.shared.palette.Theme`."""
    return (
        f":root {{ color-scheme: light dark;{_properties(LIGHT)} }}\n"
        f"@media (prefers-color-scheme: dark) {{ :root {{{_properties(DARK)} }} }}\n"
    )


def _properties(theme: Theme) -> str:
    named = [(name.replace("_", "-"), getattr(theme, name)) for name in _NAMES]
    named += [(f"sensor-{index}", colour) for index, colour in enumerate(theme.sensors)]
    return "".join(f" --{name}: {colour};" for name, colour in named)
