"""From an open capture to all the numbers of its session: read once, computed once.

The board and the arrays take the same events in one pass; what is left out is decided by the one
rule that the window has as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from analysis.board import Board
from analysis.board.snapshot import SensorWarning
from analysis.session.detail import SessionDetail, detail_session
from analysis.session.exclusions import counting, session_of, suggestions
from analysis.session.gap_error import GapError, gap_error
from analysis.session.load import SessionData
from analysis.session.sensors import SensorResult, SessionResult, analyse_session
from analysis.statistics.agreement import Tolerance
from analysis.statistics.closer import Closer, closer_of
from analysis.statistics.pairing import NO_VALUE
from analysis.statistics.stretch import Stretch, concerning, kept_seconds
from replay.capture import Capture


@dataclass(frozen=True, slots=True, eq=False)
class SessionNumbers:
    """All that is known of one session.

    ``gap_errors``: by number of the test sensor.  ``closer``: each two
    test sensors compared.  ``reference_usable_percent``: share of the session in which the
    reference had a value and was not left out.
    """

    data: SessionData
    warnings: tuple[SensorWarning, ...]
    result: SessionResult
    detail: SessionDetail
    gap_errors: dict[int, GapError]
    closer: tuple[Closer, ...]
    reference_usable_percent: float


def session_numbers(capture: Capture) -> SessionNumbers:
    """Compute all numbers of an open capture.  Raises as reading its events does."""
    data, board = session_of(capture)
    return numbers_of(data, board, counting(suggestions(board), capture.effective_notes))


def numbers_of(data: SessionData, board: Board, faults: Sequence[Stretch]) -> SessionNumbers:
    """The same from arrays, a finished board, and the suggested exclusions that count."""
    result = analyse_session(data, faults)
    reference = data.reference
    tolerance = Tolerance(data.plan.tolerance_bpm, data.plan.tolerance_percent)
    kept = {
        one.number: kept_seconds(
            data.seconds, concerning(result.exclusions, reference.number, one.number)
        )
        for one in data.sensors.values()
    }
    usable = (reference.grid != NO_VALUE) & kept[reference.number]
    closer = (
        closer_of(
            reference.grid,
            (one.number, one.grid),
            (two.number, two.grid),
            kept[one.number] & kept[two.number],
        )
        for one, two in combinations(data.tests, 2)
    )
    return SessionNumbers(
        data=data,
        warnings=board.warnings,
        result=result,
        detail=detail_session(data, faults),
        gap_errors={
            test.number: gap_error(reference, test, tolerance, kept[test.number])
            for test in data.tests
        },
        closer=tuple(one for one in closer if one is not None),
        reference_usable_percent=100 * int(np.count_nonzero(usable)) / data.seconds,
    )


def counted(result: SensorResult) -> str:
    """Which statistics of a sensor are quoted: those without its exclusions where there are any."""
    return "whole_session" if result.without_exclusions is None else "without_exclusions"
