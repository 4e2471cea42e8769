"""What one session says, in plain sentences that are no stronger than their intervals.

Three sentences for the session: how close, how well changes are followed, and what cannot be
said.  Correlation appears in none of them: it tells how far the heart rate moved as much as how
well a sensor followed it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from analysis.session.detail import SensorDetail, SessionDetail
from analysis.session.sensors import SensorResult, SessionResult
from analysis.statistics.closer import Closer
from analysis.statistics.efforts import Answer, Effort, Kind, share_of
from analysis.statistics.estimate import Estimate, Interval
from analysis.statistics.summary import Agreement

USABLE_PERCENT: Final = 95.0
"""Share of the session with a usable reference from which its loss is not worth a clause."""

MOST_PAIRS: Final = 3
"""Pairs of sensors that a sentence can compare one by one; more are counted."""

NO_INTERVAL: Final = "no interval can be given"

_REST: Final = (Answer.LATE, Answer.BLUNTED, Answer.MISSED, Answer.UNSEEN)
_WORDS: Final = {Answer.UNSEEN: "not seen for lack of values"}


def quoted(result: SensorResult) -> Agreement:
    """The agreement that sentences speak of: with the excluded stretches taken out."""
    return result.whole if result.without_exclusions is None else result.without_exclusions


def session_verdict(
    result: SessionResult,
    detail: SessionDetail,
    closer: Sequence[Closer],
    reference_usable_percent: float,
) -> tuple[str, str, str]:
    """How close, how well followed, and what cannot be said: one sentence each.

    ``closer``: each two test sensors compared.  ``reference_usable_percent``: share of the
    session in which the reference had a value that was not left out.
    """
    return (
        _how_close(result),
        _how_followed(result, detail),
        _how_far(result, closer, reference_usable_percent),
    )


def sensor_verdict(result: SessionResult, detail: SessionDetail, index: int) -> str:
    """Two or three sentences on one test sensor, by its place among the test sensors."""
    one, more = result.sensors[index], detail.sensors[index]
    label, reference = one.series.sensor.label, result.reference.sensor.label
    agreement = quoted(one)
    bias = agreement.bias.value
    if not agreement.pairs or bias is None:
        return f"{label} was never compared: it and {reference} had no value at the same second."
    sentences = [_bias_sentence(label, reference, agreement, bias)]
    if agreement.loa_low.value is not None and agreement.loa_high.value is not None:
        low = _number(agreement.loa_low.value, 1, True)
        high = _number(agreement.loa_high.value, 1, True)
        sentences.append(
            f"Its limits of agreement are {low} and {high} bpm: about 95 % of single seconds "
            "would lie between them if the differences were normally spread."
        )
    sentences.append(_delay_sentence(label, more, agreement))
    return " ".join(sentence for sentence in sentences if sentence)


def _how_close(result: SessionResult) -> str:
    plan, reference = result.plan, result.reference.sensor.label
    told: list[str] = []
    never: list[str] = []
    for one in result.sensors:
        label, within = one.series.sensor.label, quoted(one).within
        if within.value is None:
            never.append(label)
            continue
        share = f"{_percent(within.value)} %"
        if told:
            told.append(f"{label} in {share} ({_ends(within.interval, 0, '%')})")
            continue
        # The first one says what the others are to be read as.
        lead = "95 % interval " if within.interval else ""
        told.append(
            f"{label} lay within ±{plan.tolerance_bpm:g} bpm or ±{plan.tolerance_percent:g} % of "
            f"{reference} (whichever is greater) in {share} of the seconds compared "
            f"({lead}{_ends(within.interval, 0, '%')})"
        )
    why = f"{_listed(never)} and {reference} had no value at the same second" if never else ""
    if not told:
        return f"Nothing can be said of how close the sensors are, because {why}."
    return f"{_listed(told)}; {why}." if never else f"{_listed(told)}."


def _how_followed(result: SessionResult, detail: SessionDetail) -> str:
    efforts = [effort for effort in detail.efforts if effort.kind is Kind.EFFORT]
    delays = _delays(result, detail)
    if not efforts:
        return (
            "No effort was found, so whether the sensors follow one cannot be said; " + delays + "."
        )
    told = [
        _followed(one.series.sensor.label, one.answers(detail.efforts, Kind.EFFORT), i == 0)
        for i, one in enumerate(detail.sensors)
    ]
    what = "the one effort" if len(efforts) == 1 else f"{len(efforts)} efforts"
    marked = " marked by the tester" if any(effort.marked for effort in efforts) else ""
    return f"Of {what}{marked}, {_listed(told)}; {delays}."


def _followed(label: str, answers: Sequence[Answer], first: bool) -> str:
    share = share_of(answers, Answer.FOLLOWED)
    if share.value is None or share.interval is None:
        return f"{label} had too few values to be judged"
    judged = sum(answer is not Answer.UNSEEN for answer in answers)
    count = sum(answer is Answer.FOLLOWED for answer in answers)
    of = "" if judged == len(answers) else f" of {judged}"
    rest = [
        f"{number} {_WORDS.get(answer, answer.value)}"
        for answer in _REST
        if (number := sum(found is answer for found in answers))
    ]
    low, high = (100 * end for end in share.interval)
    # The first one says what the others are to be read as.
    ends = ("95 % interval " if first else "") + _ends((low, high), 0, "%")
    brackets = "; ".join([", ".join(rest), ends] if rest else [ends])
    return f"{label} followed {count}{of} ({brackets})"


def _delays(result: SessionResult, detail: SessionDetail) -> str:
    known, uneven, unknown = [], [], []
    for one in detail.sensors:
        label, delay, seen = one.series.sensor.label, one.delay, one.delays_seen
        if seen is not None:
            uneven.append(f"{label} ({_ends(seen, 0, 's')})")
        elif delay.value is not None:
            known.append(
                f"{_number(delay.value, 1)} s for {label} ({_ends(delay.interval, 1, 's')})"
            )
        else:
            unknown.append(label)
    parts = []
    if known:
        parts.append(f"was {_listed(known)}")
    if uneven:
        parts.append(f"differed from change to change for {_listed(uneven)}")
    if unknown:
        parts.append(f"cannot be told for {_listed(unknown)}")
    told = parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])}, and {parts[-1]}"
    return f"the delay against {result.reference.sensor.label} {told}"


def _how_far(result: SessionResult, closer: Sequence[Closer], usable: float) -> str:
    clauses = _compared(result, closer)
    counts = [
        count for one in result.sensors if (count := quoted(one).bias.effective_count) is not None
    ]
    if counts:
        low, high = round(min(counts)), round(max(counts))
        worth = f"{low}" if low == high else f"{low} to {high}"
        most = max(quoted(one).pairs for one in result.sensors)
        clauses.append(
            f"a sensor's pairs, at most {most}, are worth about {worth} independent ones"
        )
    if usable < USABLE_PERCENT:
        clauses.append(
            f"{result.reference.sensor.label} was usable in only {_number(usable, 0)} % of the "
            "session, and the rest is not counted"
        )
    clauses.append("one session of one wearer says nothing of other days or other people")
    words = "; ".join(clauses)
    return f"{words[0].upper()}{words[1:]}."


def _compared(result: SessionResult, closer: Sequence[Closer]) -> list[str]:
    if not closer:
        return []

    def name(number: int) -> str:
        return result.plan.sensor(number).label

    clear = [one for one in closer if one.is_clear]
    if len(closer) > MOST_PAIRS:
        return [f"by mean absolute error {len(clear)} of {len(closer)} pairs of sensors differ"]
    parts = []
    told = [
        f"{name(one.closer)} was closer than {name(one.other)} "
        f"({_number(one.difference.value or 0.0, 1)} bpm less, "
        f"{_ends(one.difference.interval, 1, 'bpm')})"
        for one in clear
    ]
    if told:
        parts.append(_listed(told))
    same = [f"{name(one.closer)} from {name(one.other)}" for one in closer if not one.is_clear]
    if same:
        parts.append(f"{' and '.join(same)} cannot be told")
    return [f"by mean absolute error {', but '.join(parts)}"]


def _bias_sentence(label: str, reference: str, agreement: Agreement, bias: float) -> str:
    size = _number(abs(bias), 1)
    if float(size) == 0:
        words = f"{label} read the same as {reference} on average"
    else:
        words = f"{label} read {size} bpm {'above' if bias > 0 else 'below'} {reference} on average"
    interval = agreement.bias.interval
    if interval is None:
        return f"{words} ({NO_INTERVAL})."
    words += f" (95 % interval {_ends(interval, 1, 'bpm', sign=True)})"
    if interval[0] <= 0 <= interval[1]:
        words += ", which cannot be told from no bias"
    return words + "."


def _delay_sentence(label: str, detail: SensorDetail, agreement: Agreement) -> str:
    after, before = detail.without_delay, agreement.mae.value
    delay, curve = detail.delay, detail.curve
    if delay.value is None:
        return delay.caution
    ends, sentences = delay.interval, []
    if after is None or after.mae.value is None or before is None:
        best = f"{_number(delay.value, 1)} s ({_ends(ends, 1, 's')})"
        sentences.append(f"Its best shift is {best}. {delay.caution}")
    else:
        words = f"Its delay is {_number(delay.value, 1)} s ({_ends(ends, 1, 's')})"
        if ends is not None and ends[0] <= 0 <= ends[1]:
            words += ", which cannot be told from none"
        sentences.append(
            f"{words}; taking it out, {label}'s mean absolute error changes from "
            f"{_error(agreement.mae)} to {_error(after.mae)} bpm. {delay.caution}".strip()
        )
    if curve is not None and curve.rising is not None and curve.falling is not None:
        rising, falling = curve.rising.value or 0.0, curve.falling.value or 0.0
        sentences.append(
            f"It is {_number(rising, 1)} s late while the heart rate rises and "
            f"{_number(falling, 1)} s while it falls."
        )
    if detail.delays_seen is not None:
        seen = _ends(detail.delays_seen, 0, "s")
        sentences.append(f"At half rise of those it showed, it came {seen} after.")
    return " ".join(sentences)


def efforts_of(efforts: Sequence[Effort]) -> list[tuple[str, Effort]]:
    """Each effort and trough with its short name, E1 …, T1 …, in order of time."""
    numbers = dict.fromkeys(Kind, 0)
    named = []
    for effort in efforts:
        numbers[effort.kind] += 1
        named.append((f"{effort.kind.value[0].upper()}{numbers[effort.kind]}", effort))
    return named


def _error(estimate: Estimate) -> str:
    return f"{_number(estimate.value or 0.0, 1)} ({_ends(estimate.interval, 1)})"


def _number(value: float, digits: int, sign: bool = False) -> str:
    text = f"{value:+.{digits}f}" if sign else f"{value:.{digits}f}"
    if not text.strip("+-0."):
        text = text.lstrip("+-")
    return text.replace("-", "−")


def _percent(value: float) -> str:
    """A share that is not quite all or nothing is not rounded to it."""
    if 0 < value < 0.5 or 99.5 <= value < 100:
        return _number(min(max(value, 0.1), 99.9), 1)
    return _number(value, 0)


def _ends(interval: Interval | None, digits: int, unit: str = "", *, sign: bool = False) -> str:
    if interval is None:
        return NO_INTERVAL
    low, high = (_percent(end) if unit == "%" else _number(end, digits, sign) for end in interval)
    return f"{low} to {high}" + (f" {unit}" if unit else "")


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
