"""The live agreement without the reference's bad stretches is that of the analysis."""

from __future__ import annotations

import copy
import heapq
import math
import random
from functools import cache
from itertools import count
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from analysis.board import Board, suggest_exclusions
from analysis.board.exclusion_suggestions import is_left_out
from analysis.board.live_agreement import WINDOWS
from analysis.board.snapshot import Agreement, SensorStatus, WarningKind
from analysis.session.compute import compute_record
from analysis.session.load import session_of
from analysis.session.record import SensorRecord
from analysis.statistics.agreement import Tolerance, sums_of
from analysis.statistics.pairing import NO_VALUE
from analysis.statistics.stretch import kept_seconds
from replay.capture.notes import EffectiveNotes
from replay.demo_files import demo_captures
from replay.event import Event
from replay.plan import Plan
from tests.standins.demo_boards import played_board
from tests.standins.demo_sessions import demo_session
from tests.standins.session_events import S, of_kind, plan_of, play, stream

LENGTH_S = 900


def _heart(t: float) -> float:
    return 130 + 25 * math.sin(t / 40)


def _dry_strap() -> list[Event]:
    """A strap that loses beats from 240 to 330 s, is off from 420 to 450 s, silent from 600 s."""
    unrest = random.Random(3)
    events, beat = [], count()

    def rr(t: float) -> list[int]:
        usual = 60 / _heart(t) * 1024
        lost = 240 <= t < 330 and next(beat) % 2
        return [round(usual * (1 + lost) * unrest.uniform(0.99, 1.01))]

    for start_s, end_s, contact in ((0, 420, True), (420, 450, False), (450, 600, True),
                                    (660, LENGTH_S, True)):  # fmt: skip
        events += stream(
            1, start_s + 0.2, end_s, lambda t: _heart(t) * (0.6 if 240 <= t < 330 else 1),
            rr=rr, contact=contact,
        )  # fmt: skip
    return events


def _wrist(sensor: int) -> list[Event]:
    unrest = random.Random(sensor)
    sent = stream(sensor, 0.1 * sensor + 0.3, LENGTH_S, lambda t: _heart(t) + unrest.gauss(1, 2))
    return [event for event in sent if not 100 * sensor < event.t_ns / S < 100 * sensor + 20]


@cache
def _session() -> tuple[Event, ...]:
    return tuple(
        heapq.merge(_dry_strap(), _wrist(2), _wrist(3), key=lambda event: event.t_ns)
    )  # fmt: skip


class _Recorded:
    """What the analysis asks of a capture."""

    plan: Plan = plan_of()
    duration_ns = LENGTH_S * S
    effective_notes = EffectiveNotes()

    def events(self) -> tuple[Event, ...]:
        return _session()


def _recorded(board: Board) -> tuple[SensorRecord, ...]:
    data, _ = session_of(_Recorded())
    left_out = suggest_exclusions(board.warnings, board.plan, board.second + 1)
    return compute_record(data, board.warnings, left_out).sensors


def _assert_equal(status: SensorStatus, record: SensorRecord) -> None:
    for live, analysed in (
        (status.counted["session"], record.counted),
        (status.windows["session"], record.whole),
    ):
        assert live.pairs == analysed.pairs
        assert live.bias_bpm == analysed.bias.value
        assert live.mae_bpm == analysed.mae.value
        assert live.within_tolerance_percent == analysed.within.value
        assert live.pearson_r == analysed.pearson_r.value


def _kept(board: Board) -> npt.NDArray[np.int32]:
    """The reference at each closed second, without what the warnings so far leave out."""
    closed = board.second + 1
    kept = kept_seconds(closed, suggest_exclusions(board.warnings, board.plan, closed))
    return np.where(kept, board.grid(1), np.int32(NO_VALUE))


def _batch(
    ref: npt.NDArray[np.int32], test: npt.NDArray[np.int32], seconds: int | None
) -> Agreement:
    """The agreement of the newest seconds, made anew of the whole."""
    newest = slice(-(seconds or len(ref)), None)
    return Agreement(*sums_of(ref[newest], test[newest], Tolerance(5, 10)).summary())


def test_dry_strap_is_not_charged_to_the_sensors() -> None:
    """Each kind of bad stretch is left out, both figures are those of the analysis."""
    board = play(plan_of(), _session(), until_s=LENGTH_S)
    snapshot = board.snapshot()
    kinds = {w.kind for w in board.warnings if w.sensor == 1 and is_left_out(w)}
    assert {WarningKind.LOOSE_REFERENCE, WarningKind.NO_CONTACT, WarningKind.SILENT} <= kinds
    assert snapshot.left_out_s > 120
    for status, record in zip(snapshot.sensors[1:], _recorded(board), strict=True):
        assert record.excluded_s == snapshot.left_out_s
        assert record.counted.pairs < record.whole.pairs
        assert status.counted["session"].mae_bpm < 3 < status.windows["session"].mae_bpm
        _assert_equal(status, record)


def test_each_window_at_each_second_is_what_a_batch_makes_of_it() -> None:
    """Pairs counted before the warning was raised are out of every window from then on."""
    board, wrong = Board(plan_of()), []

    def compare(second: int) -> None:
        ref = _kept(board)
        for status in board.snapshot().sensors[1:]:
            test = board.grid(status.number)
            for name, window_s in WINDOWS.items():
                if status.counted[name] != _batch(ref, test, window_s):
                    wrong.append((second, status.label, name))

    board.on_second = lambda second: None if second % 3 and second < 230 else compare(second)
    for event in _session():
        board.feed(event)
    board.finish(LENGTH_S * S)
    raised_later = [w for w in board.warnings if is_left_out(w) and w.since_s < w.start_s]
    assert raised_later
    assert wrong == []


def test_a_sound_session_leaves_nothing_out() -> None:
    """While the reference is well there is one figure, and it is the whole."""
    board = play(plan_of(), stream(1, 0.2, 100, _heart), _wrist(2), until_s=90)
    snapshot = board.snapshot()
    assert snapshot.left_out_s == 0
    assert snapshot.sensors[1].without_exclusions == {}
    assert snapshot.sensors[1].counted == snapshot.sensors[1].windows
    assert snapshot.sensors[0].counted == {}


@pytest.mark.parametrize("path", demo_captures(), ids=lambda path: path.stem)
def test_live_and_analysis_agree_on_recordings(path: Path) -> None:
    """At the end of a session the figures on the screen are those of the record."""
    board = played_board(path)
    records = {record.number: record for record in demo_session(path).record.sensors}
    tests = [status for status in board.snapshot().sensors if status.windows]
    assert len(tests) == len(records)
    for status in tests:
        _assert_equal(status, records[status.number])


def test_a_copy_of_a_board_goes_its_own_way() -> None:
    """What is left out on a copy stays counted on the board that it was made of."""
    board = Board(plan_of())
    events = _session()
    half = [event for event in events if event.t_ns < 200 * S]
    for event in half:
        board.feed(event)
    other = copy.deepcopy(board)
    before = board.snapshot()
    for event in events[len(half) :]:
        other.feed(event)
    other.finish(LENGTH_S * S)
    assert board.snapshot() == before
    assert other.snapshot() == play(plan_of(), events, until_s=LENGTH_S).snapshot()


@pytest.mark.parametrize("own_beats", [True, False])
def test_frozen_reference_is_left_out_for_its_own_beats_alone(own_beats: bool) -> None:
    """Warned of either way; where the movement of the test sensors showed it, they do not choose
    what they are compared with.
    """

    def reference(start_s: float, end_s: float, bpm, beats) -> list[Event]:
        rr = (lambda t: [round(60 / beats(t) * 1024)]) if own_beats else (lambda _: ())
        return stream(1, start_s + 0.2, end_s, bpm, rr=rr)

    board = play(
        plan_of(),
        reference(0, 230, _heart, _heart),
        reference(230, 290, 112, _heart),
        _wrist(2),
        _wrist(3),
        until_s=290,
    )
    (warning,) = of_kind(board, WarningKind.FROZEN, 1)
    assert is_left_out(warning) is own_beats
    assert (board.snapshot().left_out_s > 0) is own_beats


def test_outvoted_reference_leaves_nothing_out() -> None:
    """What rests on the test sensors is warned of and charged all the same."""

    def shift(t: float) -> float:
        return _heart(t) + (30 if t > 150 else 0)

    board = play(
        plan_of(), stream(1, 0.2, 400, shift), _wrist(2), _wrist(3), until_s=400
    )  # fmt: skip
    assert of_kind(board, WarningKind.OUTVOTED_REFERENCE)
    assert board.snapshot().left_out_s == 0
