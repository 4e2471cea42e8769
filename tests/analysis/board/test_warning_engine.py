"""When rules are asked, and from when their seconds count again."""

from __future__ import annotations

import pytest

from analysis.board.rules.base import BAD, GOOD, UNSURE, UNTIL_NEWS, Explanation, Rule
from analysis.board.snapshot import WarningKind as K
from replay import event as ev
from replay.event import Event, pack_int
from tests.standins.session_events import S, link, plan_of, play


class Waiting(Rule):
    """Bad in a stretch.  ``waits``: for news; else it is asked each second.  ``asked``: when."""

    def __init__(self, kind: K, sensor: int, bad: range, *, raise_after_s=1, clear_after_s=1,
                 waits: bool = False) -> None:  # fmt: skip
        super().__init__(sensor)
        self.kind = kind  # type: ignore[misc]
        self.bad, self.waits = bad, waits
        self.raise_after_s, self.clear_after_s = raise_after_s, clear_after_s
        self.asked: list[int] = []

    def step(self, second):
        self.asked.append(second)
        self.quiet_until = UNTIL_NEWS if self.waits else 0
        return BAD if second in self.bad else GOOD

    def since(self):
        return self.asked[-1]

    def explain(self):
        return Explanation("Cause.", "Advice.")

    def cleared(self):
        return "Gone."


def _facts(*rules: Rule, until_s=40, news_at_s=()):
    news = [Event(round((t - 0.5) * S), 0, ev.DISK, pack_int(10**12)) for t in news_at_s]
    board = play(plan_of(), news, until_s=until_s, rules=lambda _session: rules)
    return [(w.kind, w.sensor, w.start_s, w.end_s) for w in board.warnings]


def test_a_rule_that_waits_for_news_is_asked_at_the_start_and_with_each() -> None:
    """Not in between."""
    rule = Waiting(K.LOW_BATTERY, 2, range(0), waits=True)
    assert _facts(rule, news_at_s=(10, 30)) == []
    assert rule.asked == [0, 10, 30]


def test_a_rule_that_waits_is_asked_while_its_warning_stands() -> None:
    """The first of a session as any other: its end is counted in seconds, not in news."""
    rules = [
        Waiting(K.LOW_BATTERY, sensor, range(10, 11), clear_after_s=5, waits=True)
        for sensor in (2, 3)
    ]
    assert _facts(*rules, news_at_s=(10,)) == [(K.LOW_BATTERY, n, 10, 15) for n in (2, 3)]
    assert rules[0].asked == rules[1].asked == [0, *range(10, 16)]


def test_what_was_withheld_takes_its_seconds_again() -> None:
    """While the reference is at fault a test sensor's seconds do not count, and after it they do
    from the first on.
    """
    loose = Waiting(K.LOOSE_REFERENCE, 1, range(5, 20))
    frozen = Waiting(K.FROZEN, 2, range(3, 99), raise_after_s=4)
    assert _facts(loose, frozen) == [(K.LOOSE_REFERENCE, 1, 5, 20), (K.FROZEN, 2, 24, None)]


def test_what_was_explained_takes_its_seconds_again() -> None:
    """In the same second in which its cause ends it counts as one."""
    frozen = Waiting(K.FROZEN, 2, range(5, 20))
    apart = Waiting(K.APART, 2, range(99), raise_after_s=3)
    assert _facts(frozen, apart) == [
        (K.APART, 2, 2, 5), (K.FROZEN, 2, 5, 20), (K.APART, 2, 22, None),
    ]  # fmt: skip


@pytest.mark.parametrize("second", [K.NO_CONTACT, K.RELAY])
def test_of_two_causes_the_longer_one_holds(second: K) -> None:
    """What both explain is free once both are over."""
    one = Waiting(K.SILENT, 2, range(5, 15)) if second is K.RELAY else None
    rules = [
        one or Waiting(K.SAME_SENSOR, 2, range(5, 15)),
        Waiting(second, 3 if second is K.NO_CONTACT else 2, range(4, 25)),
        Waiting(K.LATE, 2, range(3, 99)),
    ]
    told = _facts(*rules)
    free_s = 15 if second is K.NO_CONTACT else 25
    assert (K.LATE, 2, free_s, None) in told


def test_seconds_that_say_nothing_hold_a_warning() -> None:
    """It neither ends nor begins anew, and the good ones before them still count."""

    class Unsure(Waiting):
        def step(self, second):
            said = super().step(second)
            return UNSURE if 12 <= second < 20 else said

    rule = Unsure(K.APART, 2, range(5, 10), clear_after_s=4)
    assert _facts(rule) == [(K.APART, 2, 5, 21)]


class Sleeping(Waiting):
    """Sleeps for ``naps_s`` after each second in which it is asked and not bad."""

    def __init__(self, kind: K, sensor: int, bad: range, *, naps_s: int, lightly=False) -> None:
        super().__init__(kind, sensor, bad)
        self.naps_s = naps_s
        self.sleeps_lightly = lightly  # type: ignore[misc]
        self.forgotten: list[int] = []

    def step(self, second):
        said = super().step(second)
        self.quiet_until = 0 if said is BAD else second + self.naps_s
        return said

    def reset(self):
        self.forgotten.append(self.asked[-1])


def test_a_rule_that_sleeps_is_asked_when_it_is_due() -> None:
    """And while its warning stands; beside others that are asked each second, or sleep as well."""
    one = Sleeping(K.FROZEN, 2, range(20, 23), naps_s=5)
    other = Sleeping(K.APART, 3, range(0), naps_s=7)
    each = Waiting(K.RELAY, 2, range(0))
    assert _facts(one, other, each, until_s=40) == [(K.FROZEN, 2, 20, 23)]
    assert one.asked == [0, 5, 10, 15, 20, 21, 22, 23, 28, 33, 38]
    assert other.asked == [0, 7, 14, 21, 28, 35]
    assert each.asked == list(range(41))


def test_a_rule_that_is_explained_forgets_in_the_same_second_asleep_or_not() -> None:
    """And takes its seconds again once its cause is over, in the second in which it is."""
    cause = Waiting(K.SILENT, 2, range(12, 15))
    asleep = Sleeping(K.FROZEN, 2, range(0), naps_s=10)
    assert _facts(cause, asleep) == [(K.SILENT, 2, 12, 15)]
    assert asleep.forgotten == [10] * 3
    assert asleep.asked == [0, 10, 15, 25, 35]


def test_only_who_sleeps_lightly_is_asked_when_its_sensor_has_more_to_tell() -> None:
    """In that second, once, and then as it says itself; not for what other sensors tell."""
    light = Sleeping(K.FROZEN, 2, range(0), naps_s=10, lightly=True)
    ever = Waiting(K.NO_CONTACT, 2, range(0), waits=True)
    ever.sleeps_lightly = True
    sound = Sleeping(K.APART, 2, range(0), naps_s=10)
    told = [link(3.5, 2, "closed"), link(5.5, 3, "closed"), link(8.5, 2, "waiting"),
            link(8.6, 2, "closed")]  # fmt: skip
    play(plan_of(), told, until_s=40, rules=lambda _session: [light, ever, sound])
    assert light.asked == [0, 4, 9, 19, 29, 39]
    assert ever.asked == [0, 4, 9]
    assert sound.asked == [0, 10, 20, 30, 40]


def test_a_rule_that_fails_leaves_the_sleep_of_others_as_it_is() -> None:
    """Whether it stands before them or behind."""

    class Failing(Waiting):
        def step(self, second):
            if second == 13:
                raise ZeroDivisionError
            return super().step(second)

    first, last = (Sleeping(kind, 2, range(0), naps_s=5) for kind in (K.SILENT, K.UNIT_SLIP))
    rules = [first, Failing(K.FROZEN, 2, range(0)), last]
    board = play(plan_of(), until_s=22, rules=lambda _session: rules, failing=True)
    assert [(one.kind, one.second) for one in board.failed_rules] == [(K.FROZEN, 13)]
    assert first.asked == last.asked == [0, 5, 10, 15, 20]


def test_each_warning_says_what_it_was_in_the_newest_second_that_was_bad() -> None:
    """Also where nobody asked in between, and others stood when it began and when it ended."""

    class Telling(Waiting):
        def explain(self):
            return Explanation(f"Bad at {self.asked[-1]} s.", "Advice.")

    first, last = Telling(K.FROZEN, 2, range(5, 20)), Telling(K.FROZEN, 3, range(10, 30))
    board = play(plan_of(), until_s=40, rules=lambda _session: [first, last])
    assert [one.cause for one in board.warnings] == ["Bad at 19 s.", "Bad at 29 s."]
