"""The capture file: written, read, checked, copied, salvaged."""

from replay.capture.name import capture_name
from replay.capture.notes import EffectiveNotes, Effort, Exclusion, Note, effective, standing
from replay.capture.reader import Capture
from replay.capture.writer import COMMIT_EVERY_EVENTS, COMMIT_EVERY_S, CaptureWriter

__all__ = [
    "COMMIT_EVERY_EVENTS",
    "COMMIT_EVERY_S",
    "Capture",
    "CaptureWriter",
    "EffectiveNotes",
    "Effort",
    "Exclusion",
    "Note",
    "capture_name",
    "effective",
    "standing",
]
