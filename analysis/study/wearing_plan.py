"""Who wears what where in the next sessions, so that sensor and side of the body come apart.

Two sensors of one part of the body go on opposite sides in one session, which takes the session out
of their difference, and swap: three sessions of each arrangement at least, in balanced order, the
wearers taking turns and each of them wearing both arrangements as often.  A sensor that shares its
part with no other goes from side to side.  Recorded sessions count unless one of them lost the
heart.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import combinations

from analysis.study.placements import are_opposite
from analysis.study.thresholds import PER_ARRANGEMENT
from analysis.study.variant import Variant
from replay.placement import SIDES, part, side


@dataclass(frozen=True, slots=True)
class Line:
    """One session: ``placements`` are (sensor's label, where to wear it)."""

    wearer: str
    placements: tuple[tuple[str, str], ...]


@dataclass(slots=True)
class _Group:
    """Sensors of one part that are to come apart: two, or one alone; the first is the one whose
    side is counted, by wearer.
    """

    labels: tuple[str, ...]
    part: str
    counts: Counter[tuple[str, str]] = field(default_factory=Counter)

    def total(self, which: str) -> int:
        """Sessions with the first sensor on this side."""
        return sum(count for (_, one), count in self.counts.items() if one == which)

    def lacking(self) -> int:
        """Sessions that are still needed."""
        return sum(max(PER_ARRANGEMENT - self.total(which), 0) for which in SIDES)

    def next_side(self, wearer: str) -> str:
        """Side of the first sensor in this wearer's next session: the one that lacks more, else the
        one that this wearer has had less often; of equal ones the left.
        """
        return min(SIDES, key=lambda which: (
            self.total(which) >= PER_ARRANGEMENT,
            self.counts[wearer, which],
            self.total(which),
            which,
        ))  # fmt: skip

    def placements(self, first: str) -> list[tuple[str, str]]:
        """Where each goes with the first on this side."""
        other = SIDES[1 - SIDES.index(first)]
        return [
            (label, f"{which} {self.part}")
            for label, which in zip(self.labels, (first, other), strict=False)
        ]


def wearing_plan(variants: Sequence[Variant]) -> tuple[Line, ...]:
    """The fewest further sessions of an activity after which no sensor and side are one.

    ``variants``: of one activity; of a label with several firmwares the one used last is planned.
    Empty where everything has come apart, or nothing has sides.
    """
    latest = _latest(variants)
    groups = [*_pairs(latest), *_alone(latest)]
    sessions = Counter(
        wearer
        for _, wearer in {
            (one.session.path, one.session.wearer) for each in variants for one in each.counted
        }
    )
    lines = []
    while any(group.lacking() for group in groups):
        wearer = min(sessions, key=lambda name: (sessions[name], name))
        lines.append(_line(wearer, groups))
        sessions[wearer] += 1
    return tuple(lines)


def _line(wearer: str, groups: Sequence[_Group]) -> Line:
    """One session: groups by what they lack, as far as their sensors and sides are free."""
    worn: dict[str, str] = {}
    for group in sorted(groups, key=lambda one: -one.lacking()):
        first = group.next_side(wearer)
        places = group.placements(first)
        free = not any(label in worn or place in worn.values() for label, place in places)
        if group.lacking() and free:
            worn.update(places)
            group.counts[wearer, first] += 1
    return Line(wearer, tuple(sorted(worn.items())))


def _latest(variants: Iterable[Variant]) -> list[Variant]:
    """Of each label the variant that was used last."""
    found: dict[str, Variant] = {}
    for one in variants:
        known = found.get(one.label)
        if known is None or _last_use(one) > _last_use(known):
            found[one.label] = one
    return list(found.values())


def _last_use(one: Variant) -> int:
    return max(each.session.started_utc_ns for each in one.counted)


def _part_of(one: Variant) -> str:
    """The part it is usually worn on, if that has sides; else empty."""
    parts = Counter(
        part(each.sensor.placement) for each in one.counted if side(each.sensor.placement)
    )
    return parts.most_common(1)[0][0] if parts else ""


def _pairs(variants: Sequence[Variant]) -> list[_Group]:
    groups = []
    for one, other in combinations(variants, 2):
        where = _part_of(one)
        if not where or where != _part_of(other):
            continue
        group = _Group((one.label, other.label), where)
        there = {each.session.path: each for each in other.counted}
        for each in one.counted:
            beside = there.get(each.session.path)
            placement = each.sensor.placement
            if beside is None or each.sensor.lost_the_heart or beside.sensor.lost_the_heart:
                continue
            if are_opposite(placement, beside.sensor.placement):
                group.counts[each.session.wearer, side(placement)] += 1
        groups.append(group)
    return groups


def _alone(variants: Sequence[Variant]) -> list[_Group]:
    parts = Counter(_part_of(one) for one in variants)
    groups = []
    for one in variants:
        where = _part_of(one)
        if not where or parts[where] > 1:
            continue
        group = _Group((one.label,), where)
        for each in one.counted:
            which = side(each.sensor.placement)
            if which and not each.sensor.lost_the_heart:
                group.counts[each.session.wearer, which] += 1
        groups.append(group)
    return groups
