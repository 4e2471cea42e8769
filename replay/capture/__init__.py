"""The capture file: written, read, checked, copied, salvaged."""

from replay.capture.check import CheckReport, ClockJump, SensorCheck, check_capture
from replay.capture.files import capture_name, copy_capture
from replay.capture.notes import EffectiveNotes, Effort, Exclusion, Note, effective, standing
from replay.capture.reader import Capture
from replay.capture.salvage import LostStretch, SalvageReport, salvage
from replay.capture.writer import COMMIT_EVERY_EVENTS, COMMIT_EVERY_S, CaptureWriter

__all__ = [
    "COMMIT_EVERY_EVENTS",
    "COMMIT_EVERY_S",
    "Capture",
    "CaptureWriter",
    "CheckReport",
    "ClockJump",
    "EffectiveNotes",
    "Effort",
    "Exclusion",
    "LostStretch",
    "Note",
    "SalvageReport",
    "SensorCheck",
    "capture_name",
    "check_capture",
    "copy_capture",
    "effective",
    "salvage",
    "standing",
]
