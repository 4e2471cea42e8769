"""What one session says, in plain sentences that are no stronger than their intervals.

What stands over everything (a relay, a twin, a frozen sensor) comes first, then what happened in
plain facts, how close the sensors were, how well changes were followed, and what cannot be said.
Correlation appears in none of them: it tells how far the heart rate moved as much as how well a
sensor followed it.
"""

from __future__ import annotations

from typing import Final

from analysis.board.snapshot import WarningKind
from analysis.report.clocks import clock_sentences
from analysis.report.words import (
    clock,
    duration,
    ends,
    listed,
    number,
    share_interval,
    share_text,
)
from analysis.session.record import SensorFacts, SensorRecord, SessionRecord, Tally
from analysis.statistics.closer import apart
from analysis.statistics.efforts import Answer, Kind
from analysis.statistics.estimate import Estimate, Interval
from analysis.statistics.summary import Agreement

USABLE_PERCENT: Final = 95.0
"""Share of the session with a usable reference from which its loss is not worth a clause."""

NO_INTERVAL: Final = "no interval can be given"

_REST: Final = (Answer.LATE, Answer.BLUNTED, Answer.MISSED, Answer.UNSEEN)
_WORDS: Final = {Answer.UNSEEN: "not seen for lack of values"}


def session_verdict(record: SessionRecord) -> tuple[str, ...]:
    """What is missing in the capture, what of clocks and faults stands over it (if anything does),
    what happened, how close, how well followed, and what cannot be said: one sentence each.  Of a
    reference alone, just that.
    """
    if not record.sensors:
        return (alone(record.reference),)
    missing = record.provenance.wholeness
    sentences = (
        *(missing if not record.provenance.whole else ()),
        *clock_sentences(record),
        _what_stands(record),
        _what_happened(record),
        _how_close(record),
        _how_followed(record),
        _how_far(record),
        *(missing if record.provenance.whole else ()),
    )
    return tuple(sentence for sentence in sentences if sentence)


def first_line(record: SessionRecord) -> str:
    """The one line to remember: in how many of the seconds each sensor agreed, best first."""
    reference = record.reference.label
    if not record.sensors:
        return alone(record.reference)
    if not record.plan.sensor(record.plan.reference).is_aligned:
        return clock_sentences(record)[0]
    found = [(one.counted.within, one.label) for one in record.comparable]
    known = sorted(
        ((within, label) for within, label in found if within.value is not None),
        key=lambda one: -(one[0].value or 0.0),
    )
    if not known:
        return f"No sensor could be compared with {reference}."
    told: list[str] = []
    for within, label in known:
        share = f"{share_text(within.value or 0.0)} %"
        span = ends(within, 0, unit="%").removesuffix(" %") or NO_INTERVAL
        if not told:
            lead = "95 % interval " if within.interval else ""
            told.append(
                f"{label} agreed with {reference} in {share} of the seconds compared ({lead}{span})"
            )
        else:
            told.append(f"{label} in {share} ({span})")
    aside = [one.label for one in record.sensors if one.number in record.barred]
    return f"{listed(told)}." + (
        f" {listed(aside)} had a fault that bears on this: see below." if aside else ""
    )


def alone(reference: SensorFacts) -> str:
    """The sentence on a session without a test sensor."""
    if not reference.coverage_percent:
        return (
            f"{reference.label} is the only sensor of this session, and it never showed a valid "
            "heart rate: there is nothing to compare."
        )
    return (
        f"{reference.label} is the only sensor of this session: there is no test sensor to "
        "compare with it."
    )


def _what_stands(record: SessionRecord) -> str:
    """One clause a sensor: a relay's cause, or its longest frozen stretch."""
    clauses = []
    for one in record.sensors:
        faults = [fault for fault in record.standing if fault.sensor == one.number]
        if not faults:
            continue
        worst = max(faults, key=lambda fault: fault.seconds)
        if worst.kind is WarningKind.FROZEN:
            more = f" ({len(faults)} such stretches)" if len(faults) > 1 else ""
            clauses.append(
                f"{one.label} stood still for {duration(worst.seconds)} from "
                f"{clock(worst.start_s)}{more}"
            )
        else:
            clauses.append(worst.cause.rstrip("."))
    if not clauses:
        return ""
    it = "that sensor is" if len(record.barred) == 1 else "those sensors are"
    return f"{'; '.join(clauses)}; {it} not compared with the others."


def _what_happened(record: SessionRecord) -> str:
    """The longest stretch outside, seconds far off, and losses, of each sensor."""
    clauses = [_departed(one) for one in record.sensors if one.departures.pairs]
    return f"{'; '.join(clauses)}." if clauses else ""


def _departed(one: SensorRecord) -> str:
    found, longest = one.departures, one.departures.longest
    if longest is None:
        return f"{one.label} was never outside the tolerance"
    size, usual = abs(longest.most_bpm), longest.usual_bpm
    side = "low" if usual < 0 else "high"
    words = (
        f"{one.label} was {number(abs(usual), 0)} bpm {side} (at most {number(size, 0)}) for "
        f"{duration(longest.seconds)} from {clock(longest.start_s)}, its longest stretch outside "
        f"the tolerance, and in all more than 10 bpm off for {duration(found.beyond_10_s)} and "
        f"more than 20 bpm for {duration(found.beyond_20_s)}"
    )
    if not found.losses:
        return words
    times = "once" if len(found.losses) == 1 else f"{len(found.losses)} times"
    share = share_text(found.lost_percent or 0.0)
    return f"{words}; it lost the heart {times}, for {share} % of the seconds compared"


def sensor_verdict(record: SessionRecord, one: SensorRecord) -> str:
    """Two or three sentences on one test sensor of the record."""
    label, reference, agreement = one.label, record.reference.label, one.counted
    if one not in record.comparable:
        return next(
            words for words in clock_sentences(record) if label in words or reference in words
        )
    if not agreement.pairs or agreement.bias.value is None:
        return never_compared(label, reference)
    sentences = [_bias_sentence(label, reference, agreement, agreement.bias.value)]
    if agreement.loa_low.value is not None and agreement.loa_high.value is not None:
        low = number(agreement.loa_low.value, 1, sign=True)
        high = number(agreement.loa_high.value, 1, sign=True)
        sentences.append(
            f"Its limits of agreement are {low} and {high} bpm: about 95 % of single seconds "
            "would lie between them if the differences were normally spread."
        )
    sentences.append(_delay_sentence(one))
    return " ".join(sentence for sentence in sentences if sentence)


def never_compared(label: str, reference: str) -> str:
    """The sentence on a sensor without pairs."""
    return f"{label} was never compared: it and {reference} had no value at the same second."


def _how_close(record: SessionRecord) -> str:
    plan, reference = record.plan, record.reference.label
    told: list[str] = []
    never: list[str] = []
    for one in record.comparable:
        label, within = one.label, one.counted.within
        if within.value is None:
            never.append(label)
            continue
        share = f"{share_text(within.value)} %"
        narrow = one.counted.within_5.value
        strict = "" if narrow is None else f"; within ±5 bpm {share_text(narrow)} %"
        if told:
            told.append(f"{label} in {share} ({_ends(within.interval, 0, '%')}{strict})")
            continue
        # The first one says what the others are to be read as.
        lead = "95 % interval " if within.interval else ""
        told.append(
            f"{label} lay within ±{plan.tolerance_bpm:g} bpm or ±{plan.tolerance_percent:g} % of "
            f"{reference} (whichever is greater) in {share} of the seconds compared "
            f"({lead}{_ends(within.interval, 0, '%')}{strict})"
        )
    if not told and not never:
        return "Nothing can be said of how close the sensors are."
    why = f"{listed(never)} and {reference} had no value at the same second" if never else ""
    if not told:
        return f"Nothing can be said of how close the sensors are, because {why}."
    return f"{listed(told)}; {why}." if never else f"{listed(told)}."


def _how_followed(record: SessionRecord) -> str:
    efforts = [effort for effort in record.efforts if effort.kind is Kind.EFFORT]
    if not record.comparable:
        return "Whether the sensors follow efforts cannot be said."
    delays = _delays(record)
    if not efforts:
        return (
            "No effort was found, so whether the sensors follow one cannot be said; " + delays + "."
        )
    told = [_followed(one.label, one.efforts, i == 0) for i, one in enumerate(record.comparable)]
    what = "the one effort" if len(efforts) == 1 else f"{len(efforts)} efforts"
    marked = " marked by the tester" if any(effort.marked for effort in efforts) else ""
    return f"Of {what}{marked}, {listed(told)}; {delays}."


def _followed(label: str, tally: Tally, first: bool) -> str:
    interval = tally.followed.share.interval
    if interval is None:
        return f"{label} had too few values to be judged"
    of = "" if tally.judged == tally.count else f" of {tally.judged}"
    rest = [
        f"{count} {_WORDS.get(answer, answer.value)}"
        for answer in _REST
        if (count := tally.of(answer))
    ]
    low, high = (100 * end for end in interval)
    # The first one says what the others are to be read as.
    ends = ("95 % interval " if first else "") + _ends((low, high), 0, "%")
    brackets = "; ".join([", ".join(rest), ends] if rest else [ends])
    return f"{label} followed {tally.followed.count}{of} ({brackets})"


def _delays(record: SessionRecord) -> str:
    known, uneven, unknown = [], [], []
    for one in record.comparable:
        label, delay, seen = one.label, one.delay, one.delays_seen
        if seen is not None:
            uneven.append(f"{label} ({_ends(seen, 0, 's')})")
        elif delay.value is not None:
            known.append(f"{number(delay.value, 1)} s for {label} ({_told(delay, 1, 's')})")
        else:
            unknown.append(label)
    parts = []
    if known:
        parts.append(f"was {listed(known)}")
    if uneven:
        parts.append(f"differed from change to change for {listed(uneven)}")
    if unknown:
        parts.append(f"cannot be told for {listed(unknown)}")
    told = parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])}, and {parts[-1]}"
    return f"the delay against {record.reference.label} {told}"


def _how_far(record: SessionRecord) -> str:
    clauses = _compared(record)
    counts = [
        count for one in record.sensors if (count := one.counted.bias.effective_count) is not None
    ]
    if counts:
        low, high = round(min(counts)), round(max(counts))
        worth = f"{low}" if low == high else f"{low} to {high}"
        most = max(one.counted.pairs for one in record.sensors)
        clauses.append(
            f"a sensor's pairs, at most {most}, are worth about {worth} independent ones"
        )
    usable = record.reference_usable_percent
    if usable < USABLE_PERCENT:
        clauses.append(
            f"{record.reference.label} was usable in only {number(usable, 0)} % of the "
            "session, and the rest is not counted"
        )
    clauses.append(
        "the intervals are for this session, had it gone on under the same conditions, and it says "
        "nothing of other days or other people"
    )
    words = "; ".join(clauses)
    return f"{words[0].upper()}{words[1:]}."


def _compared(record: SessionRecord) -> list[str]:
    """Who was closer than whom, and who cannot be told apart; all of it holds together."""
    compared = record.closer
    if not compared:
        return []
    numbers = [one.number for one in record.comparable if one.number not in record.barred]
    parts = []
    for best in numbers:
        beaten = [one for one in compared if one.closer == best and one.is_clear]
        if beaten:
            others = [
                f"{record.label(one.other)} ({number(one.difference.value or 0.0, 1)} bpm less, "
                f"{_ends(one.difference.interval, 1, 'bpm')})"
                for one in beaten
            ]
            parts.append(f"{record.label(best)} was closer than {listed(others)}")
    groups = [
        f"{listed([record.label(member) or '' for member in group])} cannot be told apart"
        for group in apart(compared, numbers)
    ]
    return [f"in this session, by mean absolute error, {'; '.join([*parts, *groups])}"]


def _bias_sentence(label: str, reference: str, agreement: Agreement, bias: float) -> str:
    size = number(abs(bias), 1)
    if float(size) == 0:
        words = f"{label} read the same as {reference} on average"
    else:
        words = f"{label} read {size} bpm {'above' if bias > 0 else 'below'} {reference} on average"
    interval = agreement.bias.interval
    if interval is None:
        return f"{words} ({NO_INTERVAL})."
    words += f" (95 % interval {_told(agreement.bias, 1, 'bpm', sign=True)})"
    if interval[0] <= 0 <= interval[1]:
        words += ", which cannot be told from no bias"
    return words + "."


def _delay_sentence(one: SensorRecord) -> str:
    after, mae, delay, seen = one.without_delay, one.counted.mae, one.delay, one.delays_seen
    if delay.value is None:
        return delay.caution
    sentences = []
    if after is None or after.mae.value is None or mae.value is None:
        best = f"{number(delay.value, 1)} s ({_told(delay, 1, 's')})"
        sentences.append(f"Its best shift is {best}. {delay.caution}")
    else:
        words = f"Its delay is {number(delay.value, 1)} s ({_told(delay, 1, 's')})"
        inside = delay.interval
        if inside is not None and inside[0] <= 0 <= inside[1]:
            words += ", which cannot be told from none"
        sentences.append(
            f"{words}; taking it out, {one.label}'s mean absolute error changes from "
            f"{_error(mae)} to {_error(after.mae)} bpm. {delay.caution}".strip()
        )
    if one.rising is not None and one.falling is not None:
        sentences.append(
            f"It is {number(one.rising.value or 0.0, 1)} s late while the heart rate rises and "
            f"{number(one.falling.value or 0.0, 1)} s while it falls."
        )
    if seen is not None:
        sentences.append(f"At half rise of those it showed, it came {_ends(seen, 0, 's')} after.")
    return " ".join(sentences)


def _error(estimate: Estimate) -> str:
    return f"{number(estimate.value or 0.0, 1)} ({_told(estimate, 1)})"


def _told(estimate: Estimate, digits: int, unit: str = "", *, sign: bool = False) -> str:
    return ends(estimate, digits, unit=unit, sign=sign) or NO_INTERVAL


def _ends(interval: Interval | None, digits: int, unit: str = "", *, sign: bool = False) -> str:
    if interval is None:
        return NO_INTERVAL
    if unit == "%":
        return f"{share_interval(interval)} %"
    low, high = (number(end, digits, sign=sign) for end in interval)
    return f"{low} to {high}" + (f" {unit}" if unit else "")


def rule_failures(record: SessionRecord) -> list[str]:
    """One sentence for each warning that was not looked for to the end, since its rule failed."""
    return [
        f"The rule for “{failure.kind.value}”{f' of {whose}' if whose else ''} failed at "
        f"{clock(failure.second)} and was off from then on ({failure.error}): its warnings "
        "are incomplete."
        for failure in record.failed_rules
        for whose in [record.label(failure.sensor)]
    ]
