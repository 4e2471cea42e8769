"""A relay of RR: found through losses and slips, one warning long, and never a good sensor."""

from __future__ import annotations

import random

import pytest

from analysis.board import Board
from analysis.board.rules.base import UNTIL_NEWS
from analysis.board.rules.beat_match import match_beats
from analysis.board.rules.registry import rules_for
from analysis.board.snapshot import WarningKind as K
from replay.channels import decode
from replay.event import Event
from replay.payloads import encode_heart_rate
from tests.standins.session_events import S, hr, plan_of, planned, play, strap


def _rules(session):
    return [rule for rule in rules_for(session) if rule.kind is K.RELAY]


def _heart(count: int, seed: int = 1) -> list[float]:
    source = random.Random(seed)
    rr, level = [], 0.5
    for _ in range(count):
        level += source.gauss(0, 0.004) + 0.01 * (0.5 - level)
        rr.append(level + source.gauss(0, 0.006))
    return rr


def _handed_on(
    events, *, lag_s=0.45, lose=0.02, factor=1.0, seed=2, off=0, sensor=2
) -> list[Event]:
    """The same lists later, some lost; RR in another unit, or off by up to so many ticks."""
    source, relayed = random.Random(seed), []
    for event in events:
        if source.random() < lose:
            continue
        reading = decode(event.channel, event.payload)
        rr = [round(one * factor) + source.randint(-off, off) for one in reading.rr]
        payload = encode_heart_rate(round(reading.bpm), rr=rr)
        at_ns = event.t_ns + round((lag_s + source.uniform(-0.02, 0.02)) * S)
        relayed.append(Event(max(0, at_ns), sensor, event.channel, payload))
    return relayed


def _facts(board):
    return [(w.sensor, w.end_s) for w in board.warnings]


@pytest.mark.parametrize("factor", [1.0, 1.024, 1000 / 1024])
@pytest.mark.parametrize("lose", [0.0, 0.03, 0.08])
def test_a_relay_is_one_warning_through_losses_and_slips(factor, lose) -> None:
    """Found within half a minute from the first second on, and told once in ten minutes."""
    strap_events = strap(_heart(1200))
    board = play(
        plan_of(),
        strap_events,
        _handed_on(strap_events, factor=factor, lose=lose),
        until_s=590,
        rules=_rules,
    )
    assert _facts(board) == [(2, None)]
    assert board.warnings[0].start_s <= 30
    assert board.warnings[0].since_s <= 12
    assert "only repeats the RR intervals of Yarrow" in board.warnings[0].cause
    assert "0.4 s later" in board.warnings[0].cause or "0.5 s later" in board.warnings[0].cause


def test_a_relay_that_ends_is_cleared_half_a_minute_later() -> None:
    """When it shows beats of its own again the warning ends."""
    both = strap(_heart(1200))
    own = [e._replace(sensor=2) for e in strap(_heart(1200, seed=9)) if e.t_ns > 200 * S]
    handed_on = [e for e in _handed_on(both) if e.t_ns <= 200 * S]
    board = play(plan_of(), both, handed_on, own, until_s=400, rules=_rules)
    ((sensor, end_s),) = _facts(board)
    assert sensor == 2
    assert 225 <= end_s <= 260
    assert board.warnings[0].cleared == "It shows values of its own again."


@pytest.mark.parametrize("off", [1, 2, 3])
def test_two_straps_on_one_heart_are_no_relay(off) -> None:
    """RR that agree within a tick or two, but not to the tick, are two sensors of their own."""
    one = strap(_heart(1200))
    other = _handed_on(one, lag_s=0.2, lose=0.0, off=off)
    assert play(plan_of(), one, other, until_s=590, rules=_rules).warnings == ()


@pytest.mark.parametrize(
    ("lag_s", "accused"), [(0.45, 2), (0.1, 2), (-0.1, 2), (-0.2, 2), (-0.45, 1)]
)
def test_a_reference_is_accused_only_when_it_is_clearly_later(lag_s, accused) -> None:
    """Within 0.3 s order of arrival says nothing: then it is the test sensor."""
    strap_events = strap(_heart(400), start_s=1.0)
    board = play(
        plan_of(), strap_events, _handed_on(strap_events, lag_s=lag_s), until_s=190, rules=_rules
    )
    assert [sensor for sensor, _ in _facts(board)] == [accused]


@pytest.mark.parametrize(("lag_s", "named"), [(0.45, 3), (0.03, 3), (-0.03, 3), (-0.45, 2)])
def test_of_two_test_sensors_the_later_repeats(lag_s, named) -> None:
    """By arrival; where that does not tell, the one that comes later in the plan."""
    first = strap(_heart(240), sensor=2, start_s=1)
    second = _handed_on(first, lag_s=lag_s, lose=0.0, sensor=3)
    board = play(plan_of(), first, second, until_s=110, rules=_rules)
    assert [w.sensor for w in board.warnings] == [named]


def test_a_clock_from_a_file_never_accuses_a_reference() -> None:
    """The lag to a series that was placed by hand is anybody's."""
    file = {"source": "file", "file": "tansy.fit", "alignment": "estimated", "kind": ""}
    plan = plan_of(planned("Yarrow", "reference"), planned("Tansy", **file))
    strap_events = strap(_heart(400), start_s=3.0)
    board = play(plan, strap_events, _handed_on(strap_events, lag_s=-2), until_s=190, rules=_rules)
    assert [sensor for sensor, _ in _facts(board)] == [2]


def test_a_constant_list_proves_nothing() -> None:
    """Two sensors that both send one RR over and over repeat nobody."""
    one = strap([0.5] * 600)
    assert play(plan_of(), one, _handed_on(one), until_s=290, rules=_rules).warnings == ()


def test_reset_forgets_the_relay() -> None:
    """After another warning explained it, it is told anew only while it repeats again."""
    both = strap(_heart(600))
    own = [e._replace(sensor=2) for e in strap(_heart(600, seed=9)) if e.t_ns > 100 * S]
    made = []

    def rules(session):
        made[:] = _rules(session)
        return made

    board = Board(plan_of(), rules)
    events = [*both, *(e for e in _handed_on(both) if e.t_ns <= 100 * S), *own]
    for event in sorted(events, key=lambda event: event.t_ns):
        board.feed(event)
        if board.second == 130 and made:
            made[1].reset()
            made.clear()
    assert [w.end_s for w in board.warnings] in ([131], [130], [132])


@pytest.mark.parametrize(
    ("ours", "pairs"),
    [
        ([1, 5, 9, 13], 4), ([2, 6, 10, 14], 4), ([1, 9, 13], 3), ([1, 5, 77, 9, 13], 4),
        ([99, 1, 5], 2), ([50, 60], 0), ([], 0),
    ],
)  # fmt: skip
def test_beats_are_matched_in_order_with_losses_on_either_side(ours, pairs) -> None:
    """A lost or added beat costs itself alone; values may be off by a tick."""
    match = match_beats(ours, [1, 5, 9, 13], factor=1.0, most_off=1, ahead=3)
    assert len(match.pairs) == pairs
    assert all(j > i for (_, i), (_, j) in zip(match.pairs, match.pairs[1:], strict=False))


def _shown(values, sensor, later_s=0.0, rr=lambda _: ()) -> list[Event]:
    """These bpm once a second, with RR that follow the second."""
    return [hr(k + 0.2 + later_s, sensor, v, rr=rr(k)) for k, v in enumerate(values)]


def _wandering(count: int, seed: int = 3) -> list[int]:
    source, values, now = random.Random(seed), [], 140.0
    for _ in range(count):
        now = min(max(now + source.gauss(0, 1.3), 110), 170)
        values.append(round(now))
    return values


@pytest.mark.parametrize(("one_heart", "sensors"), [(True, []), (False, [2])])
def test_values_tell_of_a_sensor_whose_rr_are_no_hearts(one_heart, sensors) -> None:
    """The bpm of another beside RR that have nothing to do with it is a relay of values; two straps
    on one heart, whose RR agree within three ticks, agree in their bpm by right.
    """
    source, values = random.Random(5), _wandering(150)
    ticks = [[round(61_440 / v + source.gauss(0, 12)) for _ in range(2)] for v in values]
    same = [[one + source.choice((-2, -1, 1, 2)) for one in both] for both in ticks]
    other = [[source.randint(400, 480) for _ in range(2)] for _ in values]
    board = play(
        plan_of(),
        _shown(values, 1, rr=lambda k: ticks[k]),
        _shown(values, 2, 0.8, rr=lambda k: (same if one_heart else other)[k]),
        until_s=149,
        rules=_rules,
    )
    assert [w.sensor for w in board.warnings] == sensors
    assert all("the values of Yarrow, 0.8 s later" in w.cause for w in board.warnings)


@pytest.mark.parametrize(("without_s", "what"), [(28, "the RR intervals"), (34, "the values")])
def test_without_rr_for_half_a_minute_the_values_tell(without_s, what) -> None:
    """A relay that goes on without RR is still one; by what it is told, its sentence says."""
    values, source = _wandering(130), random.Random(6)
    ticks = [[source.randint(420, 440), source.randint(420, 440)] for _ in values]
    first = 130 - without_s
    board = play(
        plan_of(),
        _shown(values, 1, rr=lambda k: ticks[k]),
        _shown(values, 2, 0.5, rr=lambda k: ticks[k] if k < first else ()),
        until_s=129,
        rules=_rules,
    )
    (warning,) = board.warnings
    assert (warning.sensor, warning.end_s) == (2, None)
    assert f"only repeats {what} of Yarrow" in warning.cause


def test_the_lag_is_the_median_over_the_beats() -> None:
    """Two in five lists that come soon do not make the relay sooner."""
    source = random.Random(7)
    ticks = [[source.randint(420, 440), source.randint(420, 440)] for _ in range(60)]
    strap_events = [hr(k + 0.1, 1, 140, rr=rr) for k, rr in enumerate(ticks)]
    relay = [hr(k + (0.2 if k % 5 < 2 else 0.9), 2, 140, rr=rr) for k, rr in enumerate(ticks)]
    (warning,) = play(plan_of(), strap_events, relay, until_s=59, rules=_rules).warnings
    assert "0.8 s later" in warning.cause
    assert warning.measures[0].value == pytest.approx(0.8)


TURNS = [100 + k // 2 + 20 * (k % 2) for k in range(60)]
"""Up and down by some 20 bpm each second, no value twice within a minute."""
CLIMB = [100 + 2 * k for k in range(60)]


@pytest.mark.parametrize(
    ("values", "altered", "late_at", "told_at"),
    [
        # A fifth of each weight is chance: a value shown once within 6 s is met within ±0.6 s of
        # any lag once in five times.  The first value is a plain one (0.15), each turn weighs 1.
        (TURNS, (), None, 9),  # 0.12 + 9 × 0.8 = 7.32 are the first above 7
        (CLIMB, (), None, 17),  # one turn, then leaps of 2 bpm at 0.5: 0.12 + 0.8 + 16 × 0.4
        ([100 + k for k in range(60)], (), None, 52),  # plain: 0.12 + 0.8 + 51 × 0.12
        (TURNS, (8,), None, 14),  # one value of its own takes 3: 5.72 − 3 + 6 × 0.8 = 7.52
        (TURNS, (8, 9), None, 18),  # two take 6, and leave nothing of 5.72: 9 × 0.8 = 7.2
        (TURNS, (), 3, 9),  # the fourth at another lag: as yet there is no usual one
        (TURNS, (), 4, 13),  # the fifth: an unlike value, which leaves 2.52 − 3, so nothing
        (TURNS, (11,), 4, 18),  # and 5 × 0.8 − 3 once it is suspect: 1.8 + 7 × 0.8 = 7.4
    ],
    ids=[
        "turns",
        "leaps",
        "plain",
        "one",
        "two",
        "before a usual lag",
        "against the usual lag",
        "one once suspect",
    ],
)
def test_the_evidence_of_values_is_counted_to_the_second(values, altered, late_at, told_at) -> None:
    """What each repeated and each other value weighs, and from how many on there is a usual lag."""
    shown = [v + 61 if k in altered else v for k, v in enumerate(values)]
    events = [hr(k + 0.2 + (0.05 if k == late_at else 0.8), 2, v) for k, v in enumerate(shown)]
    board = play(plan_of(), _shown(values, 1), events, until_s=59, rules=_rules)
    assert [(w.sensor, w.start_s) for w in board.warnings] == [(2, told_at + 1)]


def test_values_are_repeated_since_the_first_that_counts() -> None:
    """Half a minute of values of its own is not part of it."""
    own = [v + 61 if k < 30 else v for k, v in enumerate(TURNS)]
    board = play(plan_of(), _shown(TURNS, 1), _shown(own, 2, 0.8), until_s=59, rules=_rules)
    assert [w.since_s for w in board.warnings] == [31]


@pytest.mark.parametrize(("unlike", "end_s"), [(19, None), (20, 50)])
def test_twenty_values_that_were_not_repeated_end_it(unlike, end_s) -> None:
    """In a row: the first of its own comes at 31 s."""
    own = [v + 61 if 30 <= k < 30 + unlike else v for k, v in enumerate(TURNS)]
    board = play(plan_of(), _shown(TURNS, 1), _shown(own, 2, 0.8), until_s=59, rules=_rules)
    assert board.warnings[0].end_s == end_s


@pytest.mark.parametrize(
    ("values", "rr", "until"),
    [(CLIMB, (), UNTIL_NEWS), (TURNS, (), 0), (CLIMB, (500,), 0)],
    ids=["of its own", "suspect", "beats"],
)
def test_it_need_not_be_asked_while_it_repeats_nobody(values, rr, until) -> None:
    """Unless it sends RR, which are looked at as they come."""
    made = []

    def rules(session):
        made[:] = _rules(session)
        return made

    # One that is late at another lag: there is evidence for a while that does not suffice.
    own = [hr(k + 0.2 + (0.05 if k == 4 else 0.8), 2, v, rr=rr) for k, v in enumerate(values)]
    play(plan_of(), _shown(TURNS, 1), own, until_s=12, rules=rules)
    assert [rule.quiet_until for rule in made if rule.sensor == 2] == [until]


@pytest.mark.parametrize(("alike", "told"), [(24, []), (23, [2])])
def test_three_fifths_of_alike_beats_are_of_one_heart(alike, told) -> None:
    """24 of the newest 40 within three ticks, none of the others near any."""
    values = _wandering(150)
    beats = [400 + 8 * (k * 7 % 11) for k in range(40)]
    own = [one + 3 if k < alike else one + 4 for k, one in enumerate(beats)]
    source = _shown(values, 1, rr=lambda k: (beats * 2)[k * 2 % 40 : k * 2 % 40 + 2])
    repeats = _shown(values, 2, 0.8, rr=lambda k: (own * 2)[k * 2 % 40 : k * 2 % 40 + 2])
    board = play(plan_of(), source, repeats, until_s=149, rules=_rules)
    assert [w.sensor for w in board.warnings] == told


def _walked(ours: list[int], wanted: list[int], start: tuple[int, int], off: int, ahead: int):
    """Pairs of the match that begins with ``start``, each beat and each place tried in turn."""
    pairs, (i, j), missed = [start], (start[0] + 1, start[1] + 1), 0
    while i < len(ours) and missed <= ahead:
        for at in range(j, min(j + ahead, len(wanted))):
            goes_on = (
                at in (j, len(wanted) - 1)
                or i == len(ours) - 1
                or abs(wanted[at + 1] - ours[i + 1]) <= off
            )
            if abs(wanted[at] - ours[i]) <= off and goes_on:
                pairs.append((i, at))
                j, missed = at + 1, 0
                break
        else:
            missed += 1
        i += 1
    return pairs


@pytest.mark.parametrize("spread", [1, 4, 15])
def test_the_best_match_is_that_of_all_that_could_begin(spread: int) -> None:
    """What is found is what walking from each possible first pair finds, in a steady heart too;
    where there cannot be enough pairs, none are looked for.
    """
    source = random.Random(spread)
    for _ in range(40):
        theirs = [round(source.gauss(480, spread)) for _ in range(60)]
        ours = [rr + source.choice((0, 0, 1, -2)) for rr in theirs[20:] if source.random() > 0.1]
        walks = [
            _walked(ours, theirs, (i, j), 2, 5)
            for i in range(5) for j in range(60) if abs(theirs[j] - ours[i]) <= 2
        ]  # fmt: skip
        best = max((sum(ours[i] == theirs[j] for i, j in pairs), len(pairs)) for pairs in walks)
        found = match_beats(ours, theirs, factor=1.0, most_off=2, ahead=5, least=1)
        assert (found.exact, len(found.pairs)) == best or found.exact > 0.8 * len(ours)
        assert found.pairs in {tuple(pairs) for pairs in walks}
        strange = [rr + 300 for rr in ours]
        assert not match_beats(strange, theirs, factor=1.0, most_off=2, ahead=5, least=1).pairs
