"""What keys and buttons ask of the capture: markers, acknowledgements, another try at a sensor."""

from __future__ import annotations

from live.protocol.view_model import ViewModel
from live.views.window.live.commands import Commands
from live.views.window.live.header import Header
from live.views.window.live.warnings_list import WarningsList


class Controls:
    """Reads the marker from the header's field and the warning from the list.

    ``is_over``: nothing is asked of a capture that has ended.
    """

    def __init__(
        self, model: ViewModel, commands: Commands, header: Header, warnings: WarningsList
    ) -> None:
        self._model = model
        self._commands = commands
        self._header = header
        self._warnings = warnings
        self.is_over = False

    def write_marker(self) -> None:
        """Begin a marker; one that has been begun is set."""
        field = self._header.marker
        if field.hasFocus() or field.text():
            field.finish()
        elif field.isEnabled():
            field.begin()

    def mark_now(self) -> None:
        """Set a marker without words."""
        if self._header.marker.isEnabled():
            self._commands.marker("")

    def mark_and_acknowledge(self) -> None:
        """One key for hands that are busy: whatever calls is known, and this moment is marked."""
        self._model.acknowledge_alarm()
        calling = [w for w in self._model.snapshot().open_warnings if w.calls]
        if calling and not self.is_over:
            self._commands.acknowledge(calling)
        self.mark_now()

    def set_marker(self, text: str, moment: int) -> None:
        """Set a marker for a moment of the field's clock."""
        self._commands.marker(text, self._header.marker.now() - moment)

    def connect_sensor(self, sensor: int) -> None:
        """Try to reach this sensor at once; 0 is none."""
        if sensor and not self.is_over:
            self._commands.connect(sensor)

    def acknowledge(self, *, everything: bool) -> None:
        """An alarm; else the warning chosen in the list, else the gravest that calls; or all."""
        if self._model.acknowledge_alarm() and not everything:
            return
        calling = [w for w in self._model.snapshot().open_warnings if w.calls]
        if not everything:
            chosen = self._warnings.chosen()
            calling = [w for w in calling if w.number == chosen] or calling[:1]
        if not calling:
            self._header.say("no warning calls")
        elif not self.is_over:
            self._commands.acknowledge(calling)
