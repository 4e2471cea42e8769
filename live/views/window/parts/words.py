"""The facts of a snapshot in words, for cards, the far view and screen readers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from analysis.board.snapshot import Agreement, SensorStatus, SensorWarning, is_few
from analysis.report.words import count, number, share_text
from live.views.shared.far import LINK_WORDS
from live.views.window.parts.number_format import clock, duration, signed
from replay.event import SESSION
from replay.link_state import LinkState
from replay.plan import Plan

NONE: Final = "–"

WHOLE: Final = "whole"
"""The row of the session with the stretches that are left out."""

COLUMNS: Final = ("bias bpm", "MAE bpm", "within", "r", "pairs")


def facts(status: SensorStatus, halted: str = "", *, is_stale: bool = False) -> list[str]:
    """Link, rate, age, contact, battery, signal, coverage, gaps: one short phrase each.

    ``halted``: in place of the link; ``is_stale``: nothing that is of now, since time
    stands still.
    """
    compared = status.role != "companion"
    battery, signal = status.battery_percent, status.signal_dbm
    phrases = (
        halted or (status.state if status.is_acquiring else LINK_WORDS[status.link]),
        *(() if is_stale else _pace(status)),
        _contact(status.contact) if compared and not is_stale else "",
        "" if battery is None else f"battery {battery} %",
        "" if signal is None else f"signal {signed(signal).lstrip('+')} dBm",
        *(_coverage(status) if compared else ()),
        efforts_words(status),
        *(f"{count} {word}" for count, word in _odd_readings(status) if count),
    )
    return [phrase for phrase in phrases if phrase]


def _pace(status: SensorStatus) -> tuple[str, str]:
    age = "" if status.age_s is None else f"{status.age_s:.1f} s old"
    return age, f"{status.rate_hz:.1f} a second"


def _coverage(status: SensorStatus) -> tuple[str, str]:
    plural = "gap" if status.gaps == 1 else "gaps"
    gaps = f"{status.gaps} {plural}, {duration(status.gap_s)}" if status.gaps else "no gap"
    return f"coverage {share_text(100 * status.coverage)} %", gaps


def _odd_readings(status: SensorStatus) -> tuple[tuple[int, str], ...]:
    return (
        (status.doubtful, "doubtful"),
        (status.malformed, "malformed"),
        (status.doubled, "doubled"),
    )


LOW_BATTERY_PERCENT: Final = 15
"""From here on down a battery is worth a line on a card."""


@dataclass(frozen=True, slots=True)
class CardFact:
    """One short phrase on a card; ``act``: it needs the tester."""

    text: str
    act: bool = False


def card_facts(status: SensorStatus, halted: str = "", *, is_stale: bool = False) -> list[CardFact]:
    """What of a sensor needs an act, then its delay and its efforts; as :func:`facts`."""
    found = []
    if halted:
        found.append(CardFact(halted, act=True))
    elif status.is_acquiring:
        found.append(CardFact(status.state))
    elif not status.link.is_up and status.link is not LinkState.FILE:
        found.append(CardFact(LINK_WORDS[status.link], act=status.link is not LinkState.WAITING))
    if status.contact is False and not is_stale:
        found.append(CardFact("no skin contact", act=True))
    battery = status.battery_percent
    if battery is not None and battery <= LOW_BATTERY_PERCENT:
        found.append(CardFact(f"battery {battery} %", act=True))
    if status.role == "test":
        if status.delay_s is not None:
            found.append(CardFact(f"delay {number(status.delay_s, 0)} s"))
        if status.efforts is not None and status.efforts.judged:
            counts = status.efforts
            found.append(CardFact(f"followed {counts.followed} of {counts.judged} efforts"))
        if not found and status.coverage < 0.995:
            found.append(CardFact(f"coverage {share_text(100 * status.coverage)} %"))
    return found


def efforts_words(status: SensorStatus) -> str:
    """``efforts: 3 followed, 1 late``; empty before the first could be judged."""
    counts = status.efforts
    if counts is None or not counts.judged:
        return ""
    named = (
        (counts.followed, "followed"),
        (counts.late, "late"),
        (counts.blunted, "blunted"),
        (counts.missed, "missed"),
    )
    return "efforts: " + ", ".join(f"{count} {word}" for count, word in named if count)


def _contact(contact: bool | None) -> str:
    if contact is None:
        return "contact not told"
    return "skin contact" if contact else "no skin contact"


def value_words(status: SensorStatus) -> str:
    """The bpm that is shown, or a dash."""
    return NONE if status.shown_bpm is None else f"{status.shown_bpm:.0f}"


def subtitle(status: SensorStatus) -> str:
    """Role and placement."""
    role = {"test": "under test"}.get(status.role, status.role)
    return f"{role} · {status.placement}" if status.placement else role


def verdict(status: SensorStatus) -> str:
    """Inside or outside of the tolerance at the last grid second, with the difference."""
    if status.role != "test":
        return ""
    if status.within is None or status.difference_bpm is None:
        return "no pair"
    return f"{'in' if status.within else 'OUT'}  {signed(status.difference_bpm)}"


def agreement_row(found: Agreement) -> tuple[str, str, str, str, str]:
    """Texts of one row under :data:`COLUMNS`; r stands in brackets when it is not to be trusted."""
    r = NONE if found.pearson_r is None else f"{found.pearson_r:.2f}".replace("-", "−")
    if found.pearson_r is not None and found.r_caution:
        r = f"({r})"
    share = found.within_tolerance_percent
    if is_few(found):
        r, share = NONE, None
    return (
        NONE if found.bias_bpm is None else signed(found.bias_bpm, 1),
        NONE if found.mae_bpm is None else f"{found.mae_bpm:.1f}",
        NONE if share is None else f"{share_text(share)} %",
        r,
        count(found.pairs),
    )


def agreement_rows(status: SensorStatus) -> list[tuple[str, Agreement]]:
    """The rows of a card's table by name: without the reference's bad stretches; the whole session
    last, where that differs.
    """
    rows = list(status.counted.items())
    if status.without_exclusions:
        rows.append((WHOLE, status.windows["session"]))
    return rows


def whole_words(status: SensorStatus) -> str:
    """What the first figures leave out, and the whole of each window; empty where it is nothing."""
    if not status.without_exclusions:
        return ""
    told = [
        f"{name} MAE {agreement_row(found)[1]}, bias {agreement_row(found)[0]}"
        for name, found in status.windows.items()
    ]
    return (
        "Left out of the first figures: seconds in which the reference was at fault. "
        f"With them (bpm): {'; '.join(told)}."
    )


def r_reason(status: SensorStatus) -> str:
    """Why an r stands in brackets; the longest window's reason first."""
    for name, found in reversed(tuple(status.counted.items())):
        if found.r_caution and not is_few(found):
            reason = found.r_caution
            return f"(r) {name}: {reason[:1].lower()}{reason[1:]}"
    return ""


def who(plan: Plan, sensor: int) -> str:
    """A sensor's label, or the session."""
    return "session" if sensor == SESSION else plan.sensor(sensor).label


def stretch(warning: SensorWarning) -> str:
    """From when to when a warning stood."""
    if warning.end_s is None:
        return f"since {clock(warning.since_s)}"
    length = duration(warning.end_s - warning.since_s)
    return f"{clock(warning.since_s)} to {clock(warning.end_s)}, {length}"
