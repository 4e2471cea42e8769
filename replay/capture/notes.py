"""What the tester says about a session afterwards: appended notes, never edits.

===================== ================================================ =========================
kind                  body                                             meaning
===================== ================================================ =========================
marker                ``t_ns``, ``text``                               a note on the timeline
exclusion             ``from_ns``, ``to_ns``, ``sensor``, ``reason``   a stretch taken out
suggestion-accepted   ``suggestion`` and as an exclusion               a suggested one, agreed to
suggestion-refused    ``suggestion`` and as an exclusion               a suggested one, declined
relabel               ``sensor``, ``label``                            another label
effort                ``from_ns``, ``to_ns``, ``text``                 an effort marked by hand
section               ``from_ns``, ``to_ns``, ``text``                 a part of the activity
undo                  ``note``                                         that note no longer counts
salvaged              see :mod:`replay.capture.salvage`                what a salvage could save
imported              see :mod:`replay.files.importing`                what was made of a file
goes-on-in            ``file``                                         the file that holds the whole
goes-on-from          ``file``, ``why``                                the file that it began in
clock                 ``clock``, ``offset_ns``, ``drift_ppb``,         another computer's clock, as
                      ``at_ns``, ``bound_ns``                          known at the end (below)
===================== ================================================ =========================

Times are ns of the capture clock, a stretch is ``from_ns <= t < to_ns``.  ``sensor`` is the
number in the plan; in an exclusion 0 stands for all sensors.  ``suggestion`` is the key of what
was suggested, a text chosen by who suggests, the same whenever the same is suggested again.
An undo may itself be undone.  A clock's note holds a :class:`replay.foreign_time.Translation`, and
what it may be wrong by; the latest of each clock counts.

A recording whose file was taken away goes on in a new one, which holds all of it from the first
event on; the earlier file is told so where it can still be written.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any, Final

from replay.errors import NoteError, PlanError
from replay.foreign_time import Translation
from replay.plan import Plan
from replay.text import printable

MARKER: Final = "marker"
EXCLUSION: Final = "exclusion"
ACCEPTED: Final = "suggestion-accepted"
REFUSED: Final = "suggestion-refused"
RELABEL: Final = "relabel"
EFFORT: Final = "effort"
SECTION: Final = "section"
UNDO: Final = "undo"
SALVAGED: Final = "salvaged"
IMPORTED: Final = "imported"
GOES_ON_IN: Final = "goes-on-in"
GOES_ON_FROM: Final = "goes-on-from"
CLOCK: Final = "clock"

_STRETCH: Final = {"from_ns": int, "to_ns": int}
_EXCLUDED: Final = {**_STRETCH, "sensor": int, "reason": str}
_BODIES: Final[Mapping[str, Mapping[str, type]]] = MappingProxyType(
    {
        MARKER: {"t_ns": int, "text": str},
        EXCLUSION: _EXCLUDED,
        ACCEPTED: {"suggestion": str, **_EXCLUDED},
        REFUSED: {"suggestion": str, **_EXCLUDED},
        RELABEL: {"sensor": int, "label": str},
        EFFORT: {**_STRETCH, "text": str},
        SECTION: {**_STRETCH, "text": str},
        UNDO: {"note": int},
    }
)
_STORED: Final[Mapping[str, Mapping[str, type]]] = MappingProxyType(
    {
        SALVAGED: {"lost": int},
        IMPORTED: {"sensor": int},
        GOES_ON_IN: {"file": str},
        GOES_ON_FROM: {"file": str, "why": str},
        CLOCK: {"clock": str, "offset_ns": int, "drift_ppb": int, "at_ns": int, "bound_ns": int},
    }
)
"""What is asked of the notes that the program itself makes."""
MADE_BY_PROGRAM: Final = tuple(_STORED)
KINDS: Final = (*_BODIES, *MADE_BY_PROGRAM)


@dataclass(frozen=True, slots=True)
class Note:
    """One appended note.  ``number`` counts from 1; ``made_utc_ns``: when it was made, UTC.

    ``body``: as it is stored, which a copy of the capture keeps; what is shown of it are
    :meth:`words`.
    """

    number: int
    made_utc_ns: int
    kind: str
    body: Mapping[str, Any]

    def words(self, name: str) -> str:
        """A text of the body, made printable."""
        return printable(self.body[name])


@dataclass(frozen=True, slots=True)
class Exclusion:
    """A stretch out of the statistics.  ``note``: the note that says so.

    ``sensor``: number in the plan, 0 for all.  ``suggestion``: key of the accepted suggestion,
    empty if the tester drew it.
    """

    note: int
    from_ns: int
    to_ns: int
    sensor: int
    reason: str
    suggestion: str = ""


@dataclass(frozen=True, slots=True)
class Effort:
    """An effort that the tester marked."""

    note: int
    from_ns: int
    to_ns: int
    text: str


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the activity, for which every statistic can be given: a lap, a climb, a rest."""

    from_ns: int
    to_ns: int
    text: str


@dataclass(frozen=True, slots=True)
class EffectiveNotes:
    """What counts after every undo, in order of making.

    ``markers``: ``(t_ns, text)`` of markers made afterwards.  ``accepted`` and ``refused``: keys
    of suggestions, each by its latest answer.  ``labels``: sensor number → latest label.
    ``imports``: sensor number → what was kept of its import.  ``translations``: other computers'
    clocks by name, and ``bounds_ns``: what each may be wrong by.
    """

    markers: tuple[tuple[int, str], ...] = ()
    exclusions: tuple[Exclusion, ...] = ()
    accepted: frozenset[str] = frozenset()
    refused: frozenset[str] = frozenset()
    labels: Mapping[int, str] = field(default_factory=dict)
    efforts: tuple[Effort, ...] = ()
    sections: tuple[Section, ...] = ()
    imports: Mapping[int, Mapping[str, Any]] = field(default_factory=dict)
    translations: Mapping[str, Translation] = field(default_factory=dict)
    bounds_ns: Mapping[str, int] = field(default_factory=dict)

    def relabelled(self, plan: Plan) -> Plan:
        """The plan with the labels that count now.

        Labels that make no valid plan together, as a salvage that lost some notes may leave
        them, are not used.
        """
        try:
            return _with_labels(plan, self.labels)
        except PlanError:
            return plan


def _with_labels(plan: Plan, labels: Mapping[int, str]) -> Plan:
    """All labels at once: on the way from one to the next, two may be the same."""
    return replace(
        plan,
        sensors=tuple(
            replace(sensor, label=labels.get(number, sensor.label))
            for number, sensor in enumerate(plan.sensors, 1)
        ),
    )


def standing(notes: Iterable[Note]) -> list[Note]:
    """The notes that count, without undone ones and without the undos themselves."""
    undone: set[int] = set()
    kept: list[Note] = []
    for note in sorted(notes, key=lambda note: note.number, reverse=True):
        if note.number in undone:
            continue
        if note.kind == UNDO:
            undone.add(note.body["note"])
        else:
            kept.append(note)
    return kept[::-1]


def effective(notes: Iterable[Note]) -> EffectiveNotes:
    """Resolve undos and later answers into what counts now."""
    markers: list[tuple[int, str]] = []
    exclusions: list[Exclusion] = []
    answers: dict[str, Note] = {}
    labels: dict[int, str] = {}
    efforts: list[Effort] = []
    sections: list[Section] = []
    imports: dict[int, Mapping[str, Any]] = {}
    translations: dict[str, Translation] = {}
    bounds_ns: dict[str, int] = {}
    for note in standing(notes):
        body = note.body
        if note.kind == MARKER:
            markers.append((body["t_ns"], note.words("text")))
        elif note.kind == EXCLUSION:
            exclusions.append(_exclusion(note))
        elif note.kind in (ACCEPTED, REFUSED):
            answers[body["suggestion"]] = note
        elif note.kind == RELABEL:
            labels[body["sensor"]] = note.words("label")
        elif note.kind == EFFORT:
            efforts.append(Effort(note.number, body["from_ns"], body["to_ns"], note.words("text")))
        elif note.kind == IMPORTED:
            imports[body["sensor"]] = body
        elif note.kind == CLOCK:
            clock = body["clock"]
            translations[clock] = Translation(body["offset_ns"], body["drift_ppb"], body["at_ns"])
            bounds_ns[clock] = body["bound_ns"]
        elif note.kind == SECTION:
            sections.append(Section(body["from_ns"], body["to_ns"], note.words("text")))
    exclusions += [_exclusion(note) for note in answers.values() if note.kind == ACCEPTED]
    return EffectiveNotes(
        markers=tuple(markers),
        exclusions=tuple(sorted(exclusions, key=lambda exclusion: exclusion.note)),
        accepted=frozenset(key for key, note in answers.items() if note.kind == ACCEPTED),
        refused=frozenset(key for key, note in answers.items() if note.kind == REFUSED),
        labels=MappingProxyType(labels),
        efforts=tuple(efforts),
        sections=tuple(sections),
        imports=MappingProxyType(imports),
        translations=MappingProxyType(translations),
        bounds_ns=MappingProxyType(bounds_ns),
    )


def _exclusion(note: Note) -> Exclusion:
    body = note.body
    return Exclusion(
        note=note.number,
        from_ns=body["from_ns"],
        to_ns=body["to_ns"],
        sensor=body["sensor"],
        reason=note.words("reason"),
        suggestion=body.get("suggestion", ""),
    )


def check_note(kind: str, body: Mapping[str, Any], plan: Plan, earlier: Sequence[Note]) -> None:
    """Refuse a note that makes no sense.

    ``plan``: as recorded.  ``earlier``: all notes of the capture, in order.  Raises
    :class:`NoteError` naming what must hold, and :class:`PlanError` if the labels with this note
    would not make a valid plan.
    """
    fields = _BODIES.get(kind)
    if fields is None:
        raise NoteError(f"a note cannot be of the kind {kind!r}; kinds are {', '.join(_BODIES)}")
    if set(body) != set(fields):
        raise NoteError(f"a note of the kind {kind} has {', '.join(fields)}; got {sorted(body)}")
    _check_values(kind, body, len(plan.sensors))
    if kind == UNDO:
        _check_undo(body["note"], earlier)
    if kind in (RELABEL, UNDO):
        following = max((note.number for note in earlier), default=0) + 1
        _with_labels(plan, effective([*earlier, Note(following, 0, kind, body)]).labels)


def stored_note(number: int, made_utc_ns: int, kind: str, text: str, sensors: int) -> Note:
    """The note of a stored row whose checksum is right.

    ``text``: the body as JSON.  ``sensors``: how many the plan has.  Raises :class:`NoteError` if
    the body cannot be one of its kind; a kind that is not known is kept for a newer version.
    """
    try:
        body = json.loads(text)
    except (ValueError, RecursionError):
        raise NoteError(f"note {number} is not JSON") from None
    if not isinstance(body, dict):
        raise NoteError(f"note {number} is no JSON object")
    fields = _STORED.get(kind, _BODIES.get(kind, {}))
    if not set(fields) <= set(body):
        raise NoteError(f"note {number}: a note of the kind {kind} has {', '.join(fields)}")
    _check_values(kind, body, sensors)
    return Note(number, made_utc_ns, kind, body)


def _check_values(kind: str, body: Mapping[str, Any], sensors: int) -> None:
    """Refuse values of another type or out of their range."""
    fields = _STORED.get(kind, _BODIES.get(kind, {}))
    for name, wanted in fields.items():
        if not isinstance(body[name], wanted) or isinstance(body[name], bool):
            raise NoteError(f"{kind}: {name} must be of type {wanted.__name__}")
    if "from_ns" in fields and not 0 <= body["from_ns"] < body["to_ns"]:
        raise NoteError(f"{kind}: the stretch must begin at 0 or later and end after its beginning")
    if kind == MARKER and body["t_ns"] < 0:
        raise NoteError("marker: the time must not be before the session's start")
    for name in ("text", "reason", "suggestion"):
        if name in fields and kind != EFFORT and not body[name].strip():
            raise NoteError(f"{kind}: the {name} must not be empty")
    if "sensor" in fields:
        lowest = 1 if kind in (RELABEL, IMPORTED) else 0
        if not lowest <= body["sensor"] <= sensors:
            raise NoteError(f"{kind}: the sensor must be a number from {lowest} to {sensors}")


def _check_undo(number: int, earlier: Sequence[Note]) -> None:
    if all(note.number != number for note in earlier):
        raise NoteError(f"undo: there is no note {number}")
    undone: set[int] = set()
    for note in reversed(earlier):
        if note.kind == UNDO and note.number not in undone:
            undone.add(note.body["note"])
    if number in undone:
        raise NoteError(f"undo: note {number} has been undone already")
    if any(note.number == number and note.kind in MADE_BY_PROGRAM for note in earlier):
        raise NoteError("undo: what a salvage, a new file or an import has recorded stays")


def body_text(body: Mapping[str, object]) -> str:
    """The JSON text that is stored.  Raises :class:`NoteError` if it is not plain JSON."""
    try:
        return json.dumps(body, ensure_ascii=False, sort_keys=True, allow_nan=False)
    except (TypeError, ValueError) as error:
        raise NoteError(f"the note cannot be stored: {error}") from None
