"""TCX and GPX activity files.

TCX is read with the standard library, GPX with ``gpxpy``.  Neither format has a use for a document
type declaration, and entity bombs need one: a file that has one is refused before it is parsed.
"""

from __future__ import annotations

import codecs
import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from datetime import UTC
from itertools import pairwise
from pathlib import Path
from typing import Final
from xml.etree import ElementTree
from xml.parsers import expat

from replay.errors import ActivityFileError
from replay.files.fit import missing_parser
from replay.files.series import Lap, RawSeries, Row
from replay.files.times import ISO, TimeReader, utc_ns

_HEART_RATE_TAGS: Final = ("hr", "heartrate")
"""Local names under which GPX extensions keep the heart rate, in lower case."""
_SIGNAL_TAGS: Final = {
    "cadence": "cadence", "runcadence": "cadence", "cad": "cadence", "watts": "power",
    "power": "power", "speed": "speed", "altitudemeters": "altitude",
}  # fmt: skip
"""Local names of other signals in TCX and in GPX extensions, in lower case."""
_CHUNK: Final = 1 << 20
_DEEPEST: Final = 50
"""Elements inside one another: an extension of a track point is some ten deep."""
_MOST_TAGS: Final[Mapping[str, int]] = {"TCX": 10_000_000, "GPX": 3_000_000}
"""Begins and ends: 48 h of a point a second, with all that it can say, are fewer.  What a GPX file
says is held as a whole by the package that reads it."""
_LARGEST_POINT: Final = 200
"""Elements in one point of a track."""
_LONGEST_TAG: Final = re.compile(r"<[^<>]{10000}")
_ZONELESS: Final = "Its times name no zone: taken as UTC, as the format wants it."
_DECLARED: Final = re.compile(
    rb"""<\?xml[^>]{0,200}?encoding\s*=\s*["']([A-Za-z0-9._-]{1,40})["']"""
)
_BOMS: Final = {
    codecs.BOM_UTF8: "utf-8-sig",
    codecs.BOM_UTF16_LE: "utf-16",
    codecs.BOM_UTF16_BE: "utf-16",
}


def decoded_markup(path: Path, data: bytes) -> str:
    """The text of an XML file by its byte order mark or declaration, UTF-8 if it has neither.

    Raises :class:`ActivityFileError`.
    """
    encoding = next((name for mark, name in _BOMS.items() if data.startswith(mark)), "")
    declared = _DECLARED.match(data)
    if not encoding:
        encoding = declared[1].decode("ascii") if declared else "utf-8"
    try:
        text = data.decode(encoding)
    except (UnicodeError, LookupError):
        raise ActivityFileError(f"{path}: its text is not {encoding}, as it should be") from None
    # What is decoded has no encoding any more; a parser must not be told of one.
    head = re.match(r"\s*<\?xml[^>]*\?>", text)
    return text[head.end() :] if head else text


def root_tag(path: Path, text: str) -> str:
    """Local name of the root element; empty if the text is not XML.

    Raises :class:`ActivityFileError` if there is a document type declaration.
    """
    found: list[str] = []
    parser = expat.ParserCreate("utf-8")

    def refuse(*_: object) -> None:
        raise ActivityFileError(
            f"{path}: the file declares a document type, which activity files never do; it is "
            "not read, because entities could be hidden in it"
        )

    def begin(tag: str, _: object) -> None:
        found.append(tag)
        raise StopIteration

    parser.StartDoctypeDeclHandler = refuse
    parser.StartElementHandler = begin
    with suppress(StopIteration, expat.ExpatError):
        for start in range(0, len(text), _CHUNK):
            parser.Parse(text[start : start + _CHUNK].encode("utf-8", "replace"), False)
    return found[0].rpartition(":")[2] if found else ""


def read_tcx(path: Path, text: str) -> RawSeries:
    """The heart rate of every ``Trackpoint``; call :func:`root_tag` first.

    A file that breaks off gives what stands before, with a remark.
    """
    times = TimeReader(ISO)
    rows: list[Row] = []
    remarks = []
    starts: list[int] = []
    try:
        for kind, element in _elements(path, text, "TCX", "Trackpoint"):
            if kind == "start":
                begin = (
                    times.read(element.get("StartTime", "")) if _local(element) == "Lap" else None
                )
                if begin is not None:
                    starts.append(begin)
            else:
                rows.append(_trackpoint(element, times))
    except ElementTree.ParseError:
        remarks.append("The file breaks off or is damaged: what stands before is used.")
    if remarks and not rows:
        raise ActivityFileError(f"{path}: this TCX file is damaged, and no record can be read")
    if times.zoneless:
        remarks.append(_ZONELESS)
    return RawSeries("TCX", rows, remarks=tuple(remarks), laps=_laps(starts, rows))


def read_gpx(path: Path, text: str) -> RawSeries:
    """The heart rate of every track point, from its extensions; call :func:`root_tag` first.

    Raises :class:`ActivityFileError` if it is not whole, or if ``gpxpy`` is missing.
    """
    try:
        import gpxpy  # noqa: PLC0415 - an optional dependency
        from gpxpy.gpx import GPXException  # noqa: PLC0415
    except ModuleNotFoundError:
        raise missing_parser(path, "GPX") from None
    with suppress(ElementTree.ParseError):  # which is said below
        for _ in _elements(path, text, "GPX", "trkpt"):
            pass
    try:
        track = gpxpy.parse(text)
    except (GPXException, ValueError) as error:
        raise ActivityFileError(f"{path}: this GPX file is damaged: {error}") from None
    rows, zoneless = [], False
    for point in (p for t in track.tracks for s in t.segments for p in s.points):
        moment, time_ns = point.time, None
        if moment is not None and moment.tzinfo is None:
            zoneless, moment = True, moment.replace(tzinfo=UTC)
        with suppress(ValueError, OverflowError):  # an offset of days, which gpxpy lets through
            time_ns = None if moment is None else utc_ns(moment)
        rows.append(
            Row(
                time_ns,
                _extension_value(point.extensions),
                signals=_signals(e for extension in point.extensions for e in extension.iter())
                | ({} if point.elevation is None else {"altitude": float(point.elevation)}),
            )
        )
    return RawSeries("GPX", rows, remarks=(_ZONELESS,) if zoneless else ())


def _laps(starts: Sequence[int], rows: Sequence[Row]) -> tuple[Lap, ...]:
    """Each lap lasts until the next one begins, the last until the end of the file."""
    last = max((row.time_ns for row in rows if row.time_ns is not None), default=0)
    begins = sorted(set(starts))
    return tuple(
        Lap(begin, end, f"lap {number}")
        for number, (begin, end) in enumerate(pairwise([*begins, last]), 1)
        if begin < end
    )


def _elements(
    path: Path, text: str, kind: str, point: str
) -> Iterator[tuple[str, ElementTree.Element]]:
    """Each element outside of the points as it begins (``start``), each point as it ends (``end``).

    Nothing that has ended is kept: an activity of a day is large.  Raises
    :class:`ActivityFileError` for a tree that no activity is, before it has grown, and
    ``ElementTree.ParseError``.
    """
    if text.count("<") > _MOST_TAGS[kind] or _LONGEST_TAG.search(text):
        raise _no_activity(path, kind)
    parser = ElementTree.XMLPullParser(["start", "end"])  # type: ignore[var-annotated]
    opened: list[ElementTree.Element] = []
    in_point = held = 0
    for start in range(0, len(text), _CHUNK):
        parser.feed(text[start : start + _CHUNK])
        for event in parser.read_events():
            element = event[-1]
            if not isinstance(element, ElementTree.Element):
                continue
            if event[0] == "start":
                opened.append(element)
                held += 1
                if not in_point and _local(element) == point:
                    in_point, held = len(opened), 1
                elif not in_point:
                    yield "start", element
                if len(opened) > _DEEPEST or (in_point and held > _LARGEST_POINT):
                    raise _no_activity(path, kind)
                continue
            if in_point == len(opened):
                in_point = 0
                yield "end", element
            opened.pop()
            if not in_point and opened:
                opened[-1].clear()
    parser.close()


def _no_activity(path: Path, kind: str) -> ActivityFileError:
    return ActivityFileError(
        f"{path}: this {kind} file has more elements, or more of them inside one another, than an "
        "activity has; it is not read"
    )


def _trackpoint(element: ElementTree.Element, times: TimeReader) -> Row:
    time = _text_of(element, ("Time",))
    rate = next((e for e in element if _local(e) == "HeartRateBpm"), None)
    value = None if rate is None else _text_of(rate, ("Value",))
    return Row(None if time is None else times.read(time), value, signals=_signals(element.iter()))


def _text_of(element: ElementTree.Element, tags: tuple[str, ...]) -> str | None:
    return next((child.text for child in element if _local(child) in tags), None)


def _extension_value(extensions: Iterable[ElementTree.Element]) -> str | None:
    for extension in extensions:
        for element in extension.iter():
            if _local(element).lower() in _HEART_RATE_TAGS:
                return element.text
    return None


def _signals(elements: Iterable[ElementTree.Element]) -> dict[str, float]:
    found = {}
    for element in elements:
        name = _SIGNAL_TAGS.get(_local(element).lower())
        if name and name not in found:
            with suppress(TypeError, ValueError):
                found[name] = float(element.text or "")
    return {name: value for name, value in found.items() if math.isfinite(value)}


def _local(element: ElementTree.Element) -> str:
    return str(element.tag).rpartition("}")[2].rpartition(":")[2]
