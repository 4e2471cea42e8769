"""The name of a capture file."""

from __future__ import annotations

import re
import unicodedata
from datetime import datetime

from replay.plan import Plan


def capture_name(started_local: datetime, plan: Plan) -> str:
    """Name by local start, activity and wearer: ``2026-03-04_0715_rowing-ergometer_W1.sqlite``.

    The activity is cut to the letters, digits and hyphens that every file system takes.
    """
    plain = unicodedata.normalize("NFKD", plan.activity).encode("ascii", "ignore").decode()
    activity = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:40].rstrip("-")
    return f"{started_local:%Y-%m-%d_%H%M}_{activity or 'session'}_{plan.wearer}.sqlite"
