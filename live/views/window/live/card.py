"""The card of a sensor: in or out and how far, delay, efforts, agreement; its link on request."""

from __future__ import annotations

from typing import Final, NamedTuple

from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QFont,
    QHelpEvent,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QRegion,
    QResizeEvent,
)
from PySide6.QtWidgets import QSizePolicy, QToolButton, QToolTip, QWidget

from analysis.board.snapshot import Agreement, SensorStatus, SensorWarning
from live.views.shared.far import gravest
from live.views.window.live.card_table import paint_table, table_lines
from live.views.window.parts.accessibility import accessible_text
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.lettering import Lettering, lettering
from live.views.window.parts.plain_text import tip
from live.views.window.parts.shapes import Shape, Stamps, draw
from live.views.window.parts.theme import LIGHT, SEVERITY_SHAPES, SensorStyle, Theme
from live.views.window.parts.words import (
    CardFact,
    agreement_row,
    agreement_rows,
    card_facts,
    facts,
    r_reason,
    stretch,
    subtitle,
    value_words,
    verdict,
    whole_words,
)

_PAD: Final = 7
_BIG: Final = 1.9
"""The bpm, in times of the text's size."""

_RIGHT: Final = Qt.AlignmentFlag.AlignRight
_CENTRE: Final = Qt.AlignmentFlag.AlignHCenter


class _Letters(NamedTuple):
    """The fonts of a card."""

    plain: Lettering
    bold: Lettering
    big: Lettering


class _InSight(NamedTuple):
    """What is painted, by the parts that change apart; ``whole``: what all of it depends on."""

    head: tuple[object, ...]
    value: tuple[object, ...]
    facts: tuple[CardFact, ...]
    rows: tuple[tuple[str, Agreement], ...]
    whole: tuple[object, ...]


class SensorCard(QWidget):
    """One sensor.  ``chosen``: clicked, or Enter or Space pressed on it.  ``opened``: the button
    for the details of its link was pressed.  ``frame``: the newest, which it takes by
    :meth:`catch_up` or when it is painted; ``laid_out``: how often it has asked for another height.
    """

    chosen = Signal(int)
    opened = Signal()

    def __init__(self, number: int, style: SensorStyle | None, faults: DrawingFaults) -> None:
        super().__init__()
        self._number = number
        self._style = style
        self._faults = faults
        self._theme: Theme = LIGHT
        self._status: SensorStatus | None = None
        self._warning: SensorWarning | None = None
        self._selected = False
        self._halt: tuple[str, bool] = ("", False)
        self._details: list[str] = []
        self.frame: Frame | None = None
        self._taken: Frame | None = None
        self.laid_out = 0
        self._painted: _InSight | None = None
        self._shaped: _Letters | None = None
        self._stamps = Stamps()
        self.is_open = False
        self.more = QToolButton(self)
        self.more.setText("link")
        self.more.setCheckable(True)
        self.more.setObjectName("quiet")
        self.more.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.more.clicked.connect(self._turn)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)  # nothing shines through
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)

    def catch_up(self) -> None:
        """Take the facts; painted only if one that is in sight has changed."""
        frame = self.frame
        if frame is None or frame is self._taken:
            return
        self._taken = frame
        status = frame.status(self._number)
        warning = gravest(frame.snapshot.open_warnings, self._number)
        selected = frame.selected == self._number
        halt = (frame.halted, frame.is_stale)
        before = (self._status, self._warning, self._selected, self._theme, self._halt)
        shown = (status, warning, selected, frame.theme, halt)
        if shown == before:
            return
        old = self._painted
        self._status, self._warning, self._selected, self._theme, self._halt = shown
        self._wrap()
        new = self._painted = self._in_sight()
        if new == old:
            return
        if old is None or new is None or new.whole != old.whole:
            self._lay_out()
            self.update()
        else:
            self._update_parts(old, new)
        self.setAccessibleName(f"Card of {status.label}")
        self.setAccessibleDescription(accessible_text(status, halt[0], is_stale=halt[1]))
        self.more.setAccessibleName(f"Link of {status.label}: details")

    def _update_parts(self, old: _InSight, new: _InSight) -> None:
        """Ask for what has changed alone: most of a card stands for minutes."""
        line, wide = self._line(), self.width()
        head, below = QRectF(0, 0, wide, _PAD + 2.1 * line), _PAD + 2.1 * line
        if new.head != old.head:
            self.update(head.toAlignedRect())
        elif new.value != old.value:  # its digits end above the button
            self.update(QRectF(0, 0, wide, _PAD + 1.85 * line).toRect())
        if new.facts != old.facts:
            self.update(QRectF(0, below, wide, 1.2 * line).toAlignedRect())
        first = below + 2.3 * line
        for place, (row, before) in enumerate(zip(new.rows, old.rows, strict=True)):
            if row != before and agreement_row(row[1]) != agreement_row(before[1]):
                self.update(QRectF(0, first + place * line, wide, line).toAlignedRect())

    @property
    def told(self) -> str:
        """What the pointer brings up over the card."""
        status = self._status
        if status is None:
            return ""
        return "\n".join(filter(None, (status.advice, r_reason(status), whole_words(status))))

    def event(self, event: QEvent) -> bool:
        """The tip is put together when it is asked for."""
        # Its class first: to be told the type of each event costs more than all else here.
        if isinstance(event, QHelpEvent) and event.type() == QEvent.Type.ToolTip:
            QToolTip.showText(event.globalPos(), tip(self.told), self)
            return True
        return super().event(event)

    def _in_sight(self) -> _InSight | None:
        """All that is painted."""
        status = self._status
        if status is None:
            return None
        rows = agreement_rows(status)
        return _InSight(
            head=(status.label, subtitle(status), self._warning),
            value=(value_words(status), verdict(status), status.held_bpm),
            facts=tuple(self._facts()),
            rows=tuple(rows),
            whole=(
                self._selected,
                self._theme.name,
                self._halt,
                tuple(self._details),
                len(rows),
                self._lines(),
            ),
        )

    def _facts(self) -> list[CardFact]:
        if self._status is None:
            return []
        halted, is_stale = self._halt
        return card_facts(self._status, halted, is_stale=is_stale)

    def _turn(self) -> None:
        self.open(is_open=not self.is_open)
        self.opened.emit()

    def open(self, *, is_open: bool) -> None:
        """Show or hide the details of the link."""
        self.more.setChecked(is_open)
        if is_open != self.is_open:
            self.is_open = is_open
            self._wrap()
            self._lay_out()
            self.update()

    def _lay_out(self) -> None:
        self.laid_out += 1
        self.updateGeometry()

    def _wrap(self) -> None:
        """Put the details in as many lines as the width asks for."""
        if self._status is None or not self.is_open:
            self._details = []
            return
        halted, is_stale = self._halt
        parts = facts(self._status, halted, is_stale=is_stale)
        letters = self._letters.plain
        room = self.width() - 2 * _PAD - 4
        wrapped = [parts[0]]
        for part in parts[1:]:
            longer = f"{wrapped[-1]} · {part}"
            if letters.width(longer) <= room:
                wrapped[-1] = longer
            else:
                wrapped.append(part)
        self._details = wrapped

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Another width may hold other lines."""
        super().resizeEvent(event)
        before = len(self._details)
        self._wrap()
        if len(self._details) != before:
            self._lay_out()
        self._place_button()

    def changeEvent(self, event: QEvent) -> None:
        """So may another size of text."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.FontChange:
            self._shaped = None
            self._wrap()
            self._place_button()
            self._lay_out()
            self.update()

    def _place_button(self) -> None:
        """At the right end of the line of facts, out of the way of everything that changes."""
        line = self._line()
        size = self.more.sizeHint()
        top = _PAD + 2.1 * line + (line - size.height()) / 2
        self.more.setGeometry(
            self.width() - _PAD - size.width(), round(top), size.width(), size.height()
        )

    def _line(self) -> float:
        return self._letters.plain.line

    @property
    def _letters(self) -> _Letters:
        if self._shaped is None:
            font = QFont(self.font())
            plain = lettering(font)
            font.setBold(True)
            bold = lettering(font)
            font.setPointSizeF(_BIG * font.pointSizeF())
            self._shaped = _Letters(plain, bold, lettering(font))
        return self._shaped

    def _lines(self) -> float:
        """Height in lines of text."""
        table = 0.0
        if self._status is not None and self._status.windows:
            table = table_lines(self._status) + 0.3
        return 3.2 + table + len(self._details)

    def height_open(self, *, is_open: bool) -> float:
        """How high it would be with or without the details of its link."""
        more = 0 if is_open == self.is_open else (3 if is_open else -len(self._details))
        return (self._lines() + more) * self._line() + 2 * _PAD

    def sizeHint(self) -> QSize:
        """Tall enough for all lines."""
        line = self._line()
        return QSize(round(24.5 * line), round(self._lines() * line + 2 * _PAD))

    def minimumSizeHint(self) -> QSize:
        """As tall as the hint; the width may shrink."""
        return QSize(200, self.sizeHint().height())

    def paintEvent(self, event: QPaintEvent) -> None:
        """Called by Qt: also where it has just come into sight."""
        with self._faults.guard("card"):
            self.catch_up()
        painter = QPainter(self)
        painter.fillRect(event.rect(), QColor(self._theme.ground))
        if self._status is not None:
            with self._faults.guard("card"):
                self._paint(painter, self._status, event.region())
        painter.end()

    def _paint(self, painter: QPainter, status: SensorStatus, asked: QRegion) -> None:
        theme = self._theme
        box = QRectF(self.rect())
        colour = QColor(theme.faint if self._style is None else self._style.colour(theme))
        painter.fillRect(QRectF(0, 0, 6 if self._selected else 2, box.height()), colour)
        if self.hasFocus():
            painter.setPen(QColor(theme.focus))
            painter.drawRect(box.adjusted(0.5, 0.5, -1.5, -1.5))
        line = self._line()
        inner = box.adjusted(_PAD + 4, _PAD, -_PAD, -_PAD)

        def is_asked(top: float, height: float) -> bool:
            return asked.intersects(QRectF(0, top, box.width(), height).toAlignedRect())

        if is_asked(0, inner.top() + 2.1 * line):
            self._paint_head(
                painter, status, QRectF(inner.left(), inner.top(), inner.width(), 2 * line)
            )
        y = inner.top() + 2.1 * line
        room = inner.width() - self.more.width() - 6
        if is_asked(y, 1.2 * line):
            self._paint_facts(painter, QRectF(inner.left(), y, room, line))
        y += 1.1 * line
        if status.windows:
            row = QRectF(inner.left(), y + 0.2 * line, inner.width(), line)
            paint_table(painter, status, row, self._letters.plain, theme, is_asked=is_asked)
            y += (table_lines(status) + 0.3) * line
        painter.setPen(QColor(theme.faint))
        for text in self._details if is_asked(y, box.bottom() - y) else ():
            self._letters.plain.write(painter, QRectF(inner.left(), y, inner.width(), line), text)
            y += line

    def _paint_head(self, painter: QPainter, status: SensorStatus, head: QRectF) -> None:
        """Two lines: name and place, or the warning, on the left; verdict and value opposite."""
        line = self._line()
        end, below_end = (x - 6 for x in self._paint_value(painter, status, head))
        style = self._style
        if style is not None:
            spot = QPointF(head.left() + 0.45 * line, head.top() + 0.5 * line)
            self._stamp(painter, style.shape, spot, 0.42 * line, style.colour(self._theme))
        name = QRectF(head.left() + 1.25 * line, head.top(), 0, line)
        name.setRight(end)
        painter.setPen(QColor(self._theme.ink))
        self._letters.bold.write(painter, name, status.label)
        below = QRectF(head.left(), head.top() + line, below_end - head.left(), line)
        if self._warning is None:
            self._paint_subtitle(painter, status, below)
        else:
            self._paint_warning(painter, self._warning, below)

    def _stamp(
        self, painter: QPainter, shape: Shape, spot: QPointF, radius: float, colour: str
    ) -> None:
        stamp = self._stamps.get(shape, radius, QColor(colour), None, self.devicePixelRatioF())
        self._stamps.put(painter, stamp, spot.x(), spot.y())

    def _paint_value(
        self, painter: QPainter, status: SensorStatus, head: QRectF
    ) -> tuple[float, float]:
        """Verdict, bpm and unit; returns where they begin, in the upper line and in the lower."""
        theme, is_stale = self._theme, self._halt[1]
        if status.role == "companion":
            return head.right(), head.right()
        line = self._line()
        gone = status.held_bpm is None or is_stale
        plain, bold, big = self._letters
        unit = QRectF(0, head.top() + 0.8 * line, plain.width("bpm") + 1, line)
        unit.moveRight(head.right())
        digits = big.width("000")
        value = QRectF(unit.left() - 4 - digits, head.top(), digits, head.height())
        painter.setPen(QColor(theme.faint if gone else theme.ink))
        big.write(painter, value, value_words(status), _RIGHT)
        painter.setPen(QColor(theme.faint))
        is_old = gone and status.shown_bpm is not None
        plain.write(painter, unit, "old" if is_old else "bpm", _RIGHT)
        if status.role != "test":
            return value.left(), value.left()
        # In the line of the name, which is short: the warning below it has the width to itself.
        plate = QRectF(0, head.top(), bold.width("OUT  −100") + 10, 1.1 * line)
        plate.moveRight(value.left() - 6)
        words = "" if is_stale else verdict(status)
        outside = status.within is False and not is_stale
        if outside:
            painter.fillRect(plate, QColor(theme.alarm))
        painter.setPen(QColor(theme.ground if outside else theme.ink))
        (bold if outside else plain).write(painter, plate, words, _CENTRE)
        return plate.left(), value.left()

    def _paint_facts(self, painter: QPainter, box: QRectF) -> None:
        """What needs an act in the one accent, the rest plain."""
        x = box.left()
        letters = self._letters.plain
        for place, fact in enumerate(self._facts()):
            text = f" · {fact.text}" if place else fact.text
            room = QRectF(x, box.top(), box.right() - x, box.height())
            if room.width() < 3 * letters.metrics.averageCharWidth():
                break
            painter.setPen(QColor(self._theme.alarm if fact.act else self._theme.ink))
            letters.write(painter, room, text)
            x += letters.width(text)

    def _paint_subtitle(self, painter: QPainter, status: SensorStatus, box: QRectF) -> None:
        """The place; of what is not under test its role before it."""
        text = status.placement if status.role == "test" and status.placement else subtitle(status)
        painter.setPen(QColor(self._theme.faint))
        self._letters.plain.write(painter, box, text)

    def _paint_warning(self, painter: QPainter, warning: SensorWarning, box: QRectF) -> None:
        theme, line = self._theme, self._line()
        colour = QColor(theme.severity(warning.severity))
        spot = QPointF(box.left() + 0.45 * line, box.center().y())
        filled = colour if warning.calls else QColor(theme.ground)
        draw(painter, SEVERITY_SHAPES[warning.severity], spot, 0.36 * line, filled, edge=colour)
        painter.setPen(colour)
        words = QRectF(box)
        words.setLeft(box.left() + 1.25 * line)
        known = "" if warning.calls else " (known)"
        text = f"{warning.kind}{known}, {stretch(warning)}"
        self._letters.plain.write(painter, words, text)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Choose this sensor."""
        self.chosen.emit(self._number)
        event.accept()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Choose this sensor with Enter or Space."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Space):
            self.chosen.emit(self._number)
        else:
            super().keyPressEvent(event)
