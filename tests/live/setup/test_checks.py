"""The checks before a start, fed with played and simulated sensors."""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from live.protocol.feed import Tick
from live.setup.checks import PreStart, State
from live.setup.folder import FolderFacts, FolderWatch, look_at
from live.simulated.session import simulate
from live.simulated.troubles import Trouble, TroubleKind
from replay.event import (
    ADVICE,
    ANCHOR,
    BATTERY,
    HEART_RATE,
    JUMP,
    LINK,
    NS_PER_S,
    RUNNING,
    SESSION,
    SIGNAL,
    Event,
    pack_int,
)
from replay.payloads import encode_heart_rate
from replay.plan import Plan, PlannedSensor
from tests.standins.setups import practice_plan, until

PLAN = Plan(
    wearer="W1",
    activity="stair climb",
    sensors=(
        PlannedSensor(label="Yarrow", role="reference", placement="chest", address="C0:01"),
        PlannedSensor(label="Sorrel", role="test", placement="left wrist", address="C0:02"),
        PlannedSensor(label="Steps", role="companion", placement="left foot", address="C0:03"),
    ),
)
ROOM = FolderFacts(50_000_000_000)
NOW_NS = 1_790_000_000 * NS_PER_S


def at(seconds: float, sensor: int, channel: str, payload: bytes) -> Event:
    return Event(round(seconds * NS_PER_S), sensor, channel, payload)


def beats(seconds: Iterable[float], *, rr: tuple[int, ...] = (1024,), **more: object):
    """The reference at 60 bpm, one RR of 1 s with each notification."""
    return [
        at(s, 1, HEART_RATE, encode_heart_rate(60, contact=True, rr=rr) if not more else
           encode_heart_rate(more["mbpm"], contact=more["contact"], rr=rr))
        for s in seconds
    ]  # fmt: skip


def found(messages: Iterable[object], folder: FolderFacts | None = ROOM, plan: Plan = PLAN):
    checks = PreStart(plan)
    for message in sorted(messages, key=lambda m: m.t_ns):
        checks.take(message)
    return {check.key: check for check in checks.results(folder)}


def test_a_good_session_becomes_ready():
    """A simulated strap and wrist sensor that work are all ready after half a minute."""
    plan = practice_plan()
    checks = found([*simulate(plan, 40.0), Tick(40 * NS_PER_S)], plan=plan)
    assert {key: check.state for key, check in checks.items()} == dict.fromkeys(
        ("contact", "beats", "heard 2", "folder", "clock"), State.READY
    )
    assert all(check.share == 1.0 for check in checks.values())


def test_a_simulated_strap_that_slips_is_a_problem():
    """Off the skin, the reference is a problem at once, however long it was well."""
    plan = practice_plan()
    off = {1: [Trouble(TroubleKind.NO_CONTACT, 30, 60)]}
    messages = [e for e in simulate(plan, 60.0, troubles=off) if e.t_ns < 36 * NS_PER_S]
    check = found([*messages, Tick(36 * NS_PER_S)], plan=plan)["contact"]
    assert check.state is State.PROBLEM
    assert "skin contact" in check.sentence


def test_contact_must_hold_for_15_s():
    """Waiting counts the seconds; a single lost contact starts it again."""
    assert found([*beats(range(1, 10)), Tick(9 * NS_PER_S)])["contact"].state is State.WAITING
    whole = [*beats(range(1, 17)), Tick(16 * NS_PER_S + 1)]
    assert found(whole)["contact"].state is State.READY
    lost = beats([17], mbpm=60, contact=False)
    assert found([*whole, *lost])["contact"].state is State.PROBLEM
    again = found([*whole, *lost, *beats(range(18, 25)), Tick(25 * NS_PER_S)])["contact"]
    assert again.state is State.WAITING
    assert again.share == pytest.approx(7 / 15)


@pytest.mark.parametrize(
    ("rr", "words"),
    [((), ""), ((512, 512), "counted twice"), ((614,), "missing")],
    ids=["none", "doubled", "short"],
)
def test_rr_must_add_up_to_the_time(rr, words):
    """RR that sum to more or less than the time that passed are a problem; none are told."""
    rr = tuple(2 * r for r in rr) if words == "counted twice" else rr
    check = found([*beats(range(1, 30), rr=rr), Tick(29 * NS_PER_S)])["beats"]
    if words:
        assert (check.state, words in check.sentence) == (State.PROBLEM, True)
    else:
        assert check.state is State.READY
        assert "no RR" in check.sentence


def test_beats_that_no_heart_makes_are_a_problem():
    """Three impossible beats within 15 s are one too many, even where the sum fits."""
    good = beats(range(1, 20))
    bad = [event for s in (20, 21, 22, 23) for event in beats([s], rr=(150, 874))]
    check = found([*good, *bad, Tick(23 * NS_PER_S)])["beats"]
    assert check.state is State.PROBLEM
    assert "cannot be a heart's" in check.sentence


def test_who_is_not_heard_is_waited_for_and_then_a_problem():
    """Link state and advice are told; after 30 s it is a problem."""
    link = at(0.5, 2, LINK, b"searching")
    early = found([link, at(1, 2, ADVICE, b"Is it on?"), Tick(5 * NS_PER_S)])["heard 2"]
    assert (early.state, early.sentence) == (State.WAITING, "Link: searching. Is it on?")
    late = found([link, Tick(31 * NS_PER_S)])["heard 2"]
    assert late.state is State.PROBLEM
    refused = found([at(1, 2, LINK, b"refused"), Tick(2 * NS_PER_S)])["heard 2"]
    assert refused.state is State.PROBLEM


def test_a_sensor_that_went_silent_is_a_problem():
    """Heard once is not heard now."""
    once = at(1, 2, HEART_RATE, encode_heart_rate(80))
    assert found([once, Tick(2 * NS_PER_S)])["heard 2"].state is State.READY
    check = found([once, Tick(9 * NS_PER_S)])["heard 2"]
    assert (check.state, "Silent for 8 s" in check.sentence) == (State.PROBLEM, True)


def test_a_test_sensor_without_contact_or_bpm_is_not_ready():
    """A test sensor must send valid readings; a low battery or a weak signal is no green tick."""
    off = at(1, 2, HEART_RATE, encode_heart_rate(0, contact=False))
    assert found([off, Tick(2 * NS_PER_S)])["heard 2"].state is State.PROBLEM
    zero = at(1, 2, HEART_RATE, encode_heart_rate(0))
    assert found([zero, Tick(2 * NS_PER_S)])["heard 2"].state is State.WAITING
    well = at(1, 2, HEART_RATE, encode_heart_rate(80))
    check = found([well, at(1, 2, BATTERY, b"\x08"), Tick(2 * NS_PER_S)])["heard 2"]
    assert (check.state, "8 %: low" in check.sentence) == (State.CAUTION, True)
    weak = at(1, 2, SIGNAL, (-93).to_bytes(1, "little", signed=True))
    check = found([well, weak, Tick(2 * NS_PER_S)])["heard 2"]
    assert (check.state, "−93 dBm: weak" in check.sentence) == (State.CAUTION, True)


def test_a_companion_is_ready_when_it_sends():
    """A companion needs no bpm."""
    step = at(1, 3, RUNNING, bytes.fromhex("00000250"))
    assert found([step, Tick(2 * NS_PER_S)])["heard 3"].state is State.READY


def test_the_clock_must_be_steady_and_of_this_time():
    """A jump is a problem until 15 s have passed; so is a date before this software."""
    anchor = at(0, SESSION, ANCHOR, pack_int(NOW_NS))
    assert found([])["clock"].state is State.WAITING
    assert found([anchor, Tick(5 * NS_PER_S)])["clock"].state is State.WAITING
    assert found([anchor, Tick(16 * NS_PER_S)])["clock"].state is State.READY
    jump = at(20, SESSION, JUMP, pack_int(-3 * NS_PER_S))
    check = found([anchor, jump, Tick(25 * NS_PER_S)])["clock"]
    assert (check.state, "−3.0 s" in check.sentence) == (State.PROBLEM, True)
    assert found([anchor, jump, Tick(36 * NS_PER_S)])["clock"].state is State.READY
    old = at(0, SESSION, ANCHOR, pack_int(0))
    assert found([old, Tick(20 * NS_PER_S)])["clock"].state is State.PROBLEM


@pytest.mark.parametrize(
    ("facts", "state"),
    [
        (None, State.WAITING),
        (ROOM, State.READY),
        (FolderFacts(400_000_000), State.PROBLEM),
        (FolderFacts(0, "nothing can be written to x: read-only"), State.PROBLEM),
    ],
)
def test_the_folder_must_have_room_and_be_writable(facts, state):
    """Room and leave to write, or a sentence."""
    assert found([], facts)["folder"].state is state


def test_practice_needs_no_folder():
    """Where nothing is saved the disk is not asked."""
    checks = PreStart(PLAN, saving=False)
    assert "folder" not in {check.key for check in checks.results(None)}


def test_a_folder_is_tried_by_writing(tmp_path):
    """The nearest folder that exists is tried, and nothing is left there."""
    assert look_at(tmp_path / "not" / "yet").problem == ""
    assert look_at(tmp_path).free_bytes > 0
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "file").write_text("")
    assert "not a folder" in look_at(tmp_path / "file" / "x").problem


def test_the_folder_is_watched_without_waiting(tmp_path):
    """The answer comes from another thread, sooner or later."""
    watch = FolderWatch(tmp_path)
    assert watch.facts is None
    until(watch.poll, lambda: watch.facts is not None, "answer")
    assert watch.facts.problem == ""
