"""What the study asks of the session that is set up: its next line to take over, its open cells,
and a warning where a sensor's firmware has changed before its baseline is complete.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QPushButton

from live.setup.plan_builder import PlanBuilder
from live.views.window.setup.parts import Section, sentence

if TYPE_CHECKING:
    from analysis.study.advice import Advice
    from analysis.study.wearing_plan import Line


def is_worn(builder: PlanBuilder, line: Line) -> bool:
    """Whether the plan in the making is this line already."""
    there = {one.label: one.placement for one in builder.sensors}
    return builder.wearer == line.wearer and all(
        there.get(label) == place for label, place in line.placements
    )


class StudySection(Section):
    """``taken``: the line is to be worn."""

    taken = Signal(object)

    def __init__(self) -> None:
        super().__init__("The study asks for")
        self.warning = sentence(kind="alarm")
        self.words = sentence(kind="")
        self.button = QPushButton("wear it so")
        self.button.clicked.connect(self._take)
        self.add(self.warning)
        self.add(self.words)
        self.column.addWidget(self.button, 0, Qt.AlignmentFlag.AlignLeft)
        self._line: Line | None = None
        self.hide()

    def show_advice(self, advice: Advice | None, builder: PlanBuilder, problem: str = "") -> None:
        """Show what is asked for; hidden where nothing is."""
        warnings, words = [problem] if problem else [], list[str]()
        self._line = None
        if advice is not None:
            from analysis.report.study.advice_words import (  # noqa: PLC0415 - loaded by then
                asking_lines,
                change_lines,
            )

            warnings += change_lines(advice)
            words += asking_lines(advice)
            self._line = advice.line
        for label, said in ((self.warning, warnings), (self.words, words)):
            text = "\n".join(said)
            if label.text() != text:
                label.setText(text)
            label.setVisible(bool(said))
        offered = self._line is not None and not is_worn(builder, self._line)
        self.button.setVisible(offered)
        self.button.setAccessibleName(f"wear it so: {words[0]}" if offered and words else "")
        self.setVisible(bool(warnings or words))

    def _take(self) -> None:
        if self._line is not None:
            self.taken.emit(self._line)
