"""For each kind of warning its case."""

from __future__ import annotations

from typing import Final

from analysis.board.snapshot import WarningKind
from tests.standins.kinds.case import Case
from tests.standins.kinds.comparison import COMPARISON
from tests.standins.kinds.links import LINKS
from tests.standins.kinds.readings import READINGS

CASES: Final[dict[WarningKind, Case]] = {**LINKS, **READINGS, **COMPARISON}
