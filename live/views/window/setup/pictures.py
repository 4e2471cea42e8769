"""A picture of the set-up page with the invented bench's sensors in reach.

``python -m live.views.window.setup.pictures``: made offscreen, without radio, files or helpers.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from PySide6.QtCore import QSize
from PySide6.QtGui import QImage, QPixmap
from PySide6.QtWidgets import QApplication

from live.protocol.feed import Tick
from live.setup.known_sensors import CONFIG_FOLDER_VARIABLE
from live.setup.rehearsal import Rehearsal
from live.simulated.session import simulate
from live.views.window.parts.application import open_application
from live.views.window.parts.theme import LIGHT, THEMES, Theme
from live.views.window.setup.keys import Step
from live.views.window.setup.window import SetupWindow
from replay.demo_files import demo_folder
from replay.errors import SidebeatError
from replay.event import NS_PER_S
from replay.plan import Plan, load_plan

PICTURES: Final = Path("docs") / "pictures"
SIZES: Final = {"1280x720": (1280, 720), "1920x1080": (1920, 1080), "2560x1440": (2560, 1440)}
_CHECKED_S: Final = 24
"""A moment of the rehearsal at which some checks are through and one sensor is still away."""
_NEARBY: Final = (("Yarrow", -58, 87), ("Sorrel", -71, 64), ("Tansy", -88, 9), ("Bracken", -66, 41))


class _Played:
    """A helper process that has said everything."""

    def __init__(self, *lines: dict[str, Any]) -> None:
        self._lines = list(lines)
        self.status: int | None = None

    def poll(self) -> list[dict[str, Any]]:
        lines, self._lines = self._lines, []
        return lines

    def say(self, _facts: object) -> None:
        """It does not listen."""

    def let_go(self) -> None:
        """It holds nothing."""
        self.status = 0

    def end(self) -> None:
        """It has ended."""


class _PlayedRehearsal(Rehearsal):
    """The first seconds of a simulated session, all at once."""

    def __init__(self, plan: Plan, out: Path | None, minutes: float | None) -> None:
        super().__init__(plan, out, minutes, start=lambda *_: _Played())  # type: ignore[arg-type]
        for event in simulate(plan, 2.0 * _CHECKED_S):
            if event.t_ns > _CHECKED_S * NS_PER_S:
                break
            self.checks.take(event)
        self.checks.take(Tick(_CHECKED_S * NS_PER_S))

    @property
    def is_heard(self) -> bool:
        """It is all there."""
        return True


@contextmanager
def setup_window(theme: Theme = LIGHT, *, checks: bool = False) -> Iterator[SetupWindow]:
    """The plan page, or the checks of a simulated session; closed behind it."""
    open_application()
    rows = [
        {
            "address": f"C0:00:00:00:00:0{number}",
            "name": name,
            "services": ["heart rate"],
            "signal_dbm": signal,
            "battery_percent": battery,
        }
        for number, (name, signal, battery) in enumerate(_NEARBY, 1)
    ]
    with tempfile.TemporaryDirectory() as folder:
        before = os.environ.get(CONFIG_FOLDER_VARIABLE)
        os.environ[CONFIG_FOLDER_VARIABLE] = folder
        try:
            window = SetupWindow(
                Path(folder) / "captures",
                theme=theme,
                listen=lambda: _Played({"sensors": rows}),  # type: ignore[arg-type,return-value]
                rehearse=_PlayedRehearsal,
            )
        finally:
            if before is None:
                del os.environ[CONFIG_FOLDER_VARIABLE]
            else:
                os.environ[CONFIG_FOLDER_VARIABLE] = before
        window.show()
        window.start()
        window.frame()
        _fill(window, checks=checks)
        for _ in range(3):
            window.frame()
            QApplication.processEvents()
        if not checks:
            window.plan_page.know_past([window.plan_page.builder.plan()] * 3)
        try:
            yield window
        finally:
            window.close()


def setup_picture(
    size: tuple[int, int] = (1280, 720), theme: Theme = LIGHT, *, checks: bool = False
) -> QPixmap:
    """A picture of :func:`setup_window`."""
    with setup_window(theme, checks=checks) as window:
        window.resize(QSize(*size))
        for _ in range(3):
            QApplication.processEvents()
        return window.grab()


def _fill(window: SetupWindow, *, checks: bool) -> None:
    page = window.plan_page
    window.cautions.hide()
    if checks:
        page.show_plan(load_plan(demo_folder() / "practice_plan.toml"))
    else:
        for number, place in enumerate(
            ("chest", "left wrist", "right wrist", "right upper arm"), 1
        ):
            page.list.ticked.emit(f"C0:00:00:00:00:0{number}", True)
            page.body_map.chosen.emit(place)
            if number == 1:  # the strap is the reference before a sign of the others is given
                page.selected.editors[0].role.setCurrentIndex(0)
                page.selected.editors[0].role.activated.emit(0)
        page.form.wearer.setText("W1")
        page.form.activity.setCurrentText("rowing ergometer")
    page.form.folder.setText("captures")
    page.form.edited.emit()
    if checks:
        window.do(Step.FORWARD)
        window.frame()
    else:
        page.choose(1)


def main(arguments: Sequence[str] | None = None) -> int:
    """Make the pictures that were asked for; returns the exit status."""
    parser = argparse.ArgumentParser(
        prog="python -m live.views.window.setup.pictures",
        description="Pictures of the set-up page. Without options: that of the documentation.",
    )
    parser.add_argument("--out", type=Path, default=PICTURES, help="folder for the pictures")
    parser.add_argument("--size", choices=tuple(SIZES), action="append")
    parser.add_argument("--theme", choices=tuple(THEMES), action="append")
    given = parser.parse_args(arguments)
    wanted = [("set-up", SIZES["1280x720"], LIGHT, False)]
    if given.size or given.theme:
        wanted = [
            (f"{name}-{theme}-{size}", SIZES[size], THEMES[theme], name == "checks")
            for name in ("set-up", "checks")
            for size in given.size or SIZES
            for theme in given.theme or THEMES
        ]
    given.out.mkdir(parents=True, exist_ok=True)
    for name, size, theme, checks in wanted:
        path = given.out / f"{name}.png"
        picture = setup_picture(size, theme, checks=checks).toImage()
        flat = picture.convertToFormat(QImage.Format.Format_RGB888)
        if not flat.save(str(path), "PNG", 0):  # type: ignore[call-overload]
            raise SidebeatError(f"{path} could not be written")
        print(path)
    return 0


if __name__ == "__main__":
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    try:
        sys.exit(main())
    except SidebeatError as error:
        print(error, file=sys.stderr)
        sys.exit(2)
