"""Simulated wearers and sensors, for practice without hardware and for the bundled recordings.

Pure and seeded: the same plan gives the same events, byte for byte, on every machine.
"""

from live.simulated.kinds import KINDS
from live.simulated.session import session_events, simulate
from live.simulated.troubles import Trouble, TroubleKind

__all__ = ["KINDS", "Trouble", "TroubleKind", "session_events", "simulate"]
