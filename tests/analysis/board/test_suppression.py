"""One cause, one warning."""

from __future__ import annotations

import math

import pytest

from analysis.board.rules.base import BAD, GOOD, UNSURE, Explanation, Rule
from analysis.board.rules.registry import REGISTRY
from analysis.board.snapshot import Severity
from analysis.board.snapshot import WarningKind as K
from tests.standins.session_events import plan_of, play, stream


class Scripted(Rule):
    """A rule that sees what a script says, second by second."""

    def __init__(self, kind: K, sensor: int, script: dict[int, object], **after: int) -> None:
        super().__init__(sensor)
        self.kind = kind  # type: ignore[misc]
        self.script = script
        self.now = UNSURE
        self.second = 0
        self.resets = 0
        self.raise_after_s = after.get("raise_after_s", 1)
        self.clear_after_s = after.get("clear_after_s", 1)

    def step(self, second):
        self.second = second
        self.now = self.script.get(second, self.now)
        return self.now

    def since(self):
        return self.second - 2

    def explain(self):
        return Explanation("Cause.", "Advice.")

    def cleared(self):
        return "Gone."

    def reset(self):
        self.resets += 1


def _run(*rules: Scripted, until_s: int = 60):
    return play(plan_of(), [], until_s=until_s, rules=lambda _session: rules).warnings


def _facts(warnings):
    return [(w.kind, w.sensor, w.start_s, w.end_s) for w in warnings]


def test_hysteresis_needs_bad_and_good_seconds_in_a_row() -> None:
    """A warning is raised after its bad seconds and cleared after its good ones, not before."""
    script = {5: BAD, 7: GOOD, 10: BAD, 30: GOOD, 32: BAD, 40: GOOD}
    rule = Scripted(K.APART, 2, script, raise_after_s=3, clear_after_s=4)
    (warning,) = _run(rule)
    assert (warning.since_s, warning.start_s, warning.end_s) == (10, 12, 43)
    assert (warning.number, warning.cleared) == (1, "Gone.")


def test_unsure_seconds_count_for_neither() -> None:
    """Seconds without evidence neither raise nor clear."""
    rule = Scripted(K.APART, 2, {5: BAD, 6: UNSURE, 20: BAD, 22: UNSURE}, raise_after_s=3)
    assert _facts(_run(rule)) == [(K.APART, 2, 21, None)]


def test_standing_cause_takes_its_consequence_over() -> None:
    """A consequence that stands is taken over by its cause, with a word, and not raised again."""
    apart = Scripted(K.APART, 2, {5: BAD})
    frozen = Scripted(K.FROZEN, 2, {10: BAD, 20: GOOD})
    warnings = _run(apart, frozen)
    assert _facts(warnings) == [(K.APART, 2, 5, 10), (K.FROZEN, 2, 10, 20), (K.APART, 2, 20, None)]
    assert warnings[0].cleared == "Explained by the warning 'frozen'."
    assert apart.resets > 0


@pytest.mark.parametrize("kind", [row.kind for row in REGISTRY if row.explains_tests])
def test_fault_of_the_reference_explains_test_sensors_that_are_apart(kind: K) -> None:
    """While the reference is at fault, no test sensor is apart from it or late."""
    rules = [Scripted(k, n, {8: BAD}) for k in (K.APART, K.LATE) for n in (2, 3)]
    warnings = _run(Scripted(kind, 1, {5: BAD}), *rules)
    assert _facts(warnings) == [(kind, 1, 5, None)]


def test_reference_fault_withholds_but_does_not_end_what_stands() -> None:
    """A frozen test sensor stays frozen when the reference gets loose; a new one is not accused."""
    warnings = _run(
        Scripted(K.LOOSE_REFERENCE, 1, {10: BAD, 20: GOOD}),
        Scripted(K.FROZEN, 2, {5: BAD, 15: GOOD}),
        Scripted(K.FROZEN, 3, {12: BAD, 18: UNSURE}),
    )
    assert _facts(warnings) == [(K.FROZEN, 2, 5, 15), (K.LOOSE_REFERENCE, 1, 10, 20)]


@pytest.mark.parametrize(
    ("cause", "consequences"),
    [
        (K.NOT_STARTED, [K.REFERENCE_LOST]),
        (K.SILENT, [K.THINNING, K.NO_CONTACT, K.FROZEN, K.APART, K.REFERENCE_LOST, K.WEAK_SIGNAL]),
        (K.NO_CONTACT, [K.THINNING, K.FROZEN, K.ON_CADENCE, K.APART, K.LOOSE_REFERENCE]),
        (K.SAME_SENSOR, [K.RELAY, K.SWAPPED_LABELS, K.APART, K.LATE]),
        (K.RELAY, [K.SWAPPED_LABELS, K.APART, K.LATE]),
        (K.FROZEN, [K.LOOSE_REFERENCE, K.ON_CADENCE, K.APART, K.LATE, K.UNIT_SLIP]),
        (K.LOOSE_REFERENCE, [K.UNIT_SLIP, K.OUTVOTED_REFERENCE]),
        (K.ON_CADENCE, [K.APART, K.LATE]),
        (K.SWAPPED_LABELS, [K.APART, K.LATE]),
        (K.LATE, [K.APART]),
    ],
)
def test_one_cause_on_a_sensor_is_one_warning(cause: K, consequences: list[K]) -> None:
    """What follows from it is not told besides, and neither is the cause for its consequence."""
    for other in consequences:
        told = _run(Scripted(other, 2, {6: BAD}), Scripted(cause, 2, {5: BAD}))
        assert _facts(told) == [(cause, 2, 5, None)], other
        told = _run(Scripted(cause, 2, {6: BAD}), Scripted(other, 2, {5: BAD}))
        assert _facts(told) == [(other, 2, 5, 6), (cause, 2, 6, None)], other


@pytest.mark.parametrize(
    ("one", "other"),
    [(K.LOW_BATTERY, K.APART), (K.UNIT_SLIP, K.APART), (K.THINNING, K.FROZEN)],
)
def test_what_has_two_causes_is_two_warnings(one: K, other: K) -> None:
    """A sensor may have a low battery and be apart."""
    told = _run(Scripted(one, 2, {5: BAD}), Scripted(other, 2, {6: BAD}))
    assert _facts(told) == [(one, 2, 5, None), (other, 2, 6, None)]


def test_cause_of_one_sensor_does_not_silence_another() -> None:
    """A silent test sensor explains nothing of its neighbour."""
    warnings = _run(Scripted(K.SILENT, 2, {5: BAD}), Scripted(K.APART, 3, {8: BAD}))
    assert len(warnings) == 2


def test_sentences_are_those_of_the_newest_bad_second() -> None:
    """While it is bad the sentences follow each second, in doubt and after the end they stay; the
    one warning keeps its start.
    """

    class Counting(Scripted):
        def explain(self):
            return Explanation(f"Cause {self.second}.", "Advice.")

    script = {5: BAD, 20: UNSURE, 30: BAD, 40: GOOD}
    for until_s, cause in ((5, 5), (6, 6), (19, 19), (20, 19), (29, 19), (33, 33), (50, 39)):
        (warning,) = _run(Counting(K.SILENT, 2, script), until_s=until_s)
        assert (warning.since_s, warning.start_s, warning.cause) == (3, 5, f"Cause {cause}.")


def test_most_severe_stands_first() -> None:
    """Standing warnings are ordered by severity, then by age."""
    plan = plan_of()
    rules = [Scripted(K.LOW_BATTERY, 2, {1: BAD}), Scripted(K.FROZEN, 3, {2: BAD}),
             Scripted(K.NO_CONTACT, 1, {3: BAD}), Scripted(K.DISK_LOW, 0, {4: BAD})]  # fmt: skip
    board = play(plan, [], until_s=9, rules=lambda _session: rules)
    assert [w.severity for w in board.snapshot().open_warnings] == [4, 3, 2, 1]
    assert [w.number for w in board.warnings] == [1, 2, 3, 4]


def test_severity_follows_whose_fault_it_is() -> None:
    """Session above reference above test sensor above notice."""
    severity = {
        (kind, sensor): _run(Scripted(kind, sensor, {1: BAD}))[0].severity
        for kind, sensor in ((K.DISK_LOW, 0), (K.FROZEN, 1), (K.FROZEN, 2), (K.LOW_BATTERY, 1))
    }
    assert severity == {
        (K.DISK_LOW, 0): Severity.SESSION_FAULT,
        (K.FROZEN, 1): Severity.REFERENCE_FAULT,
        (K.FROZEN, 2): Severity.TEST_FAULT,
        (K.LOW_BATTERY, 1): Severity.NOTICE,
    }


def test_one_cause_raises_one_warning_on_a_sensor() -> None:
    """A sensor that falls silent while hearts move gets one warning, with all rules at work."""

    def heart(t: float) -> float:
        return 140 + 30 * math.sin(t / 25)

    board = play(
        plan_of(),
        stream(1, 0.2, 300, heart),
        stream(2, 0.5, 150, lambda t: heart(t - 4)),
        stream(3, 0.7, 300, lambda t: heart(t - 3)),
        until_s=300,
    )
    assert [(w.kind, w.sensor) for w in board.warnings] == [(K.SILENT, 2)]
