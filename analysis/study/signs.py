"""The sign that each sensor of a study is shown by: one for each label, in all of its sessions.

A label has the sign that its plans hold; where none holds any, the one that it had in most of its
sessions by its place among the others.  Of two that have a claim to one sign, the one whose plans
hold it has it, then the one with more sessions; the other takes the lowest that is free.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from analysis.study.variant import Variant
from replay.signs import free_sign


def signs_by_label(variants: Iterable[Variant]) -> dict[str, int]:
    """The sign of each label, numbered as in :mod:`replay.signs`."""
    seen: dict[str, Counter[tuple[bool, int]]] = {}
    for one in variants:
        for each in one.counted:
            claim = (each.sensor.sign_is_held, each.sensor.sign)
            seen.setdefault(one.label, Counter())[claim] += 1
    claims = sorted(
        (not held, -count, label, sign)
        for label, signs in seen.items()
        for (held, sign), count in signs.items()
    )
    taken: dict[str, int] = {}
    for _, _, label, sign in claims:
        if label not in taken and sign not in taken.values():
            taken[label] = sign
    for label in sorted(seen):
        if label not in taken:
            taken[label] = free_sign(taken.values())
    return taken


def last_of_each_label(variants: Iterable[Variant]) -> dict[str, Variant]:
    """Of each label the firmware or model that was worn last: what it is today."""
    last: dict[str, Variant] = {}
    for one in variants:
        known = last.get(one.label)
        if known is None or _last_use(one) > _last_use(known):
            last[one.label] = one
    return last


def _last_use(variant: Variant) -> int:
    return max(one.session.started_utc_ns for one in variant.counted)
