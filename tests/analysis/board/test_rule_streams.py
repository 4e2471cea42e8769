"""Sensors that repeat others, that are one, that thin out, or whose RR slipped in unit."""

from __future__ import annotations

import random

import pytest

from analysis.board.rules.registry import rules_for
from analysis.board.snapshot import WarningKind as K
from replay import event as ev
from replay.event import Event
from tests.standins.session_events import S, hr, of_kind, plan_of, play, stream


def _of(kind: K):
    """All rules of one kind, wired as they are in a session."""
    return lambda session: [rule for rule in rules_for(session) if rule.kind is kind]


def _values(seed: int, count: int, low: int = 110, high: int = 170) -> list[int]:
    """The bpm of a heart that wanders, one a second."""
    source = random.Random(seed)
    values, now = [], 140.0
    for _ in range(count):
        now = min(max(now + source.gauss(0, 1.3), low), high)
        values.append(round(now))
    return values


def _lively(t: float) -> list[int]:
    return [430 + int(t * 7.3) % 11, 433 + int(t * 3.7) % 9]


def test_repeated_rr_are_a_relay_and_the_later_one_repeats() -> None:
    """A sensor that sends another's RR half a second later is the relay, within 30 s."""
    source = stream(1, 0.2, 200, 140, rr=_lively)
    relay = [e._replace(t_ns=e.t_ns + S // 2, sensor=2) for e in source]
    (warning,) = play(plan_of(), source, relay, until_s=200, rules=_of(K.RELAY)).warnings
    assert (warning.sensor, warning.start_s <= 30) == (2, True)
    assert "repeats the RR intervals of Yarrow, 0.5 s later" in warning.cause


def test_reference_can_be_the_relay() -> None:
    """When the reference is the later one, it is the reference that repeats."""
    source = stream(2, 0.2, 200, 140, rr=_lively)
    relay = [e._replace(t_ns=e.t_ns + S // 2, sensor=1) for e in source]
    (warning,) = play(plan_of(), source, relay, until_s=200, rules=_of(K.RELAY)).warnings
    assert warning.sensor == 1


def test_values_a_constant_moment_later_are_a_relay() -> None:
    """The same values a constant moment later, without RR, are told within a minute."""
    values = _values(3, 240)
    source = [hr(k + 0.2, 1, v) for k, v in enumerate(values)]
    relay = [hr(k + 1.0, 2, v) for k, v in enumerate(values)]
    (warning,) = play(plan_of(), source, relay, until_s=240, rules=_of(K.RELAY)).warnings
    assert (warning.sensor, warning.start_s <= 60, warning.end_s) == (2, True, None)
    assert "the values of Yarrow, 0.8 s later" in warning.cause


def test_relay_ends_with_values_of_its_own() -> None:
    """When the values are its own again, the warning is cleared."""
    values, own = _values(3, 400), _values(8, 400)
    source = [hr(k + 0.2, 1, v) for k, v in enumerate(values)]
    relay = [hr(k + 1.0, 2, v if k < 200 else own[k]) for k, v in enumerate(values)]
    (warning,) = play(plan_of(), source, relay, until_s=400, rules=_of(K.RELAY)).warnings
    assert warning.end_s is not None
    assert 210 < warning.end_s < 300


def test_good_sensor_of_its_own_is_no_relay() -> None:
    """A sensor within a bpm of another, some seconds later, is good and not a relay."""
    values, source = _values(5, 3600), random.Random(11)
    strap = [hr(k + 0.2, 1, v) for k, v in enumerate(values)]
    smooth = [sum(values[max(0, k - 4) : k + 1]) / min(k + 1, 5) for k in range(3600)]
    wrist = [hr(k + 0.6, 2, round(v + source.gauss(0, 0.5))) for k, v in enumerate(smooth)]
    assert play(plan_of(), strap, wrist, until_s=3600, rules=_of(K.RELAY)).warnings == ()


def test_two_straps_on_one_heart_are_no_relay() -> None:
    """Two straps agree in their bpm; their RR differ by 1/1024 s now and then."""
    source = random.Random(2)
    beats = [(430 + round(source.gauss(0, 3)), 431 + round(source.gauss(0, 3))) for _ in range(900)]
    values = _values(5, 900)
    one = [hr(k + 0.2, 1, values[k], rr=rr) for k, rr in enumerate(beats)]
    two = [
        hr(k + 0.7, 2, values[k], rr=[x + source.choice((-1, 0, 0, 1)) for x in rr])
        for k, rr in enumerate(beats)
    ]
    assert play(plan_of(), one, two, until_s=900, rules=_of(K.RELAY)).warnings == ()


def test_equal_readings_at_the_same_moment_are_one_sensor() -> None:
    """Equal payloads within milliseconds are one sensor, told on the later in the plan."""
    values = _values(4, 120)
    one = [hr(k + 0.200, 2, v) for k, v in enumerate(values)]
    two = [hr(k + 0.204, 3, v) for k, v in enumerate(values)]
    (warning,) = play(plan_of(), one, two, until_s=120, rules=_of(K.SAME_SENSOR)).warnings
    assert (warning.sensor, warning.start_s <= 40) == (3, True)
    assert "Tansy and Sorrel are the same sensor" in warning.cause


def test_equal_readings_of_a_steady_heart_prove_nothing() -> None:
    """Two sensors that show the same steady bpm are not one."""
    streams = [stream(n, 0.2 + n / 1000, 300, 130) for n in (2, 3)]
    assert play(plan_of(), *streams, until_s=300, rules=_of(K.SAME_SENSOR)).warnings == ()


def test_same_sensor_silences_relay() -> None:
    """One sensor in two places is not called a relay as well."""
    values = _values(4, 200)
    one = [hr(k + 0.200, 2, v) for k, v in enumerate(values)]
    two = [hr(k + 0.204, 3, v) for k, v in enumerate(values)]
    board = play(plan_of(), stream(1, 0.1, 200, 140), one, two, until_s=200)
    assert [w.kind for w in board.warnings if w.sensor == 3 and w.end_s is None] == [K.SAME_SENSOR]


@pytest.mark.parametrize(("serial", "told"), [("A1B2C3", True), ("0000", False), ("7", False)])
def test_equal_serials_are_one_sensor(serial: str, told: bool) -> None:
    """Equal serials of one maker and model are one sensor; a serial left empty is none."""
    texts = [
        Event(S, n, channel, text)
        for n in (2, 3)
        for channel, text in ((ev.SERIAL, serial.encode()), (ev.MODEL, b"M"), (ev.MAKER, b"K"))
    ]
    board = play(plan_of(), texts, until_s=20, rules=_of(K.SAME_SENSOR))
    assert [w.sensor for w in board.warnings] == ([3] if told else [])


def test_thinning_is_told_against_the_sensors_own_rate() -> None:
    """Half of the usual notifications is thinning; their return ends it."""
    steady = stream(2, 0.5, 200, 140)
    thin = [e for k, e in enumerate(stream(2, 200.5, 300, 140)) if k % 2]
    board = play(
        plan_of(), steady, thin, stream(2, 300.5, 400, 140), until_s=400, rules=_of(K.THINNING)
    )
    (warning,) = board.warnings
    assert warning.start_s <= 225
    assert "readings a second instead of its usual 1.0" in warning.cause
    assert warning.end_s is not None
    assert 310 <= warning.end_s <= 330


@pytest.mark.parametrize("every", [6, 10])
def test_a_sixth_lost_is_no_thinning(every: int) -> None:
    """Losing one notification in six is what a crowded radio does."""
    events = [e for k, e in enumerate(stream(2, 0.5, 600, 140)) if k < 100 or k % every]
    assert play(plan_of(), events, until_s=600, rules=_of(K.THINNING)).warnings == ()


def _slipping(factor: float, seconds: int = 400) -> list[Event]:
    """Beats of 140 bpm, unlike as a heart's are, whose RR are sent too long by ``factor``."""
    source, events, beat_s = random.Random(7), [], 0.0
    rr_s = 60 / 140
    for k in range(1, seconds):
        ready = []
        while beat_s + rr_s <= k:
            beat_s += rr_s
            ready.append(round(rr_s * 1024 * factor))
            rr_s = 60 / 140 * (1 + source.gauss(0, 0.01))
        events.append(hr(k, 1, 140, rr=ready))
    return events


@pytest.mark.parametrize(
    ("factor", "told"), [(1.0, 0), (1 / 1.024, 1), (1.024, 1), (1.01, 0), (1.06, 0)]
)
def test_rr_in_another_unit_are_told(factor: float, told: int) -> None:
    """RR that are steadily 1.024 or 1/1.024 of what time allows are told, and nothing else is."""
    board = play(plan_of(), _slipping(factor), until_s=400, rules=_of(K.UNIT_SLIP))
    assert len(board.warnings) == told
    assert all("in another unit" in w.cause for w in board.warnings)


def test_slipped_unit_is_not_a_loose_reference() -> None:
    """RR in another unit are no missing beats."""
    board = play(plan_of(), _slipping(1 / 1.024), until_s=400)
    assert of_kind(board, K.LOOSE_REFERENCE) == []
    assert len(of_kind(board, K.UNIT_SLIP)) == 1


def _strap_of(values: list[int], seed: int) -> list[list[int]]:
    """The RR of each second of a heart of these rates."""
    source, at, beats = random.Random(seed), 0.0, [[] for _ in values]
    while at < len(values) - 1:
        rr = 60 / values[int(at)] * (1 + source.gauss(0, 0.012))
        at += rr
        beats[min(int(at), len(beats) - 1)].append(round(rr * 1024))
    return beats


@pytest.mark.parametrize("lost", [0.0, 0.1])
@pytest.mark.parametrize(
    ("sent", "later_s", "kind"),
    [
        ("the same", 0.5, K.RELAY),
        ("none", 0.5, K.RELAY),
        ("of the bpm", 0.5, K.RELAY),
        ("the same", 0.02, K.SAME_SENSOR),
        ("of its own", 0.5, None),
    ],
)
def test_one_repeater_is_one_warning(
    sent: str, later_s: float, kind: K | None, lost: float
) -> None:
    """From its beginning to its end, also where notifications are lost on either side; by its
    values where its RR are no heart's.  Two straps on one heart agree by right.
    """
    values, source = _values(3, 480), random.Random(4)
    beats = _strap_of(values, 5)
    made = {
        "the same": lambda k: beats[k],
        "none": lambda _k: [],
        "of the bpm": lambda k: [round(61440 / values[k])] * len(beats[k]),
        "of its own": lambda k: [rr + source.choice((-2, -1, 0, 0, 0, 1, 2)) for rr in beats[k]],
    }[sent]
    one = [hr(k + 0.2, 1, v, rr=beats[k]) for k, v in enumerate(values)]
    two = [hr(k + 0.2 + later_s, 2, v, rr=made(k)) for k, v in enumerate(values)]
    kept = [[e for e in events if source.random() >= lost] for events in (one, two)]
    board = play(
        plan_of(),
        *kept,
        until_s=480,
        rules=lambda session: [*_of(K.RELAY)(session), *_of(K.SAME_SENSOR)(session)],
    )
    wanted = [(kind, 2, None)] if kind else []
    assert [(w.kind, w.sensor, w.end_s) for w in board.warnings] == wanted
