"""The record of a session: written, read back, kept, and never believed where it does not fit."""

from __future__ import annotations

import dataclasses
import json
import os
import stat
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.board.snapshot import Severity, WarningKind
from analysis.session import cache, provenance, read_pairs, read_session
from analysis.session.cache import CACHE_FOLDER_VARIABLE, NotARecord, decode_record, encode_record
from analysis.session.pipeline import session_of
from analysis.session.record import FORMAT, SessionRecord
from analysis.statistics.efforts import Answer, Kind
from replay.capture import Capture
from replay.demo_files import demo_captures
from replay.event import NS_PER_S
from tests.standins.demo_sessions import demo_session, rowing_session
from tests.standins.feeds import two_sensors, written

ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture(scope="module")
def record() -> SessionRecord:
    """Of the first demo capture."""
    return rowing_session().record


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A cache of its own; returns the folder of the records."""
    monkeypatch.setenv(CACHE_FOLDER_VARIABLE, str(tmp_path / "cache"))
    return cache.cache_folder()


@pytest.fixture
def computed(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """One entry for each record that is computed and not taken from the cache."""
    from analysis.session import compute

    times: list[str] = []
    real = compute.compute_record

    def counted(*args, **kwargs):
        times.append("computed")
        return real(*args, **kwargs)

    monkeypatch.setattr(compute, "compute_record", counted)
    return times


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A short capture."""
    return written(tmp_path / "c.sqlite", two_sensors(120), end_s=120)


def kept(folder: Path) -> Path:
    """The one file of the cache."""
    (file,) = folder.iterdir()
    return file


def parts_of(value: object) -> Iterator[object]:
    """A value and all that is inside it."""
    yield value
    inside: list[object] = []
    if dataclasses.is_dataclass(value):
        inside = [getattr(value, one.name) for one in dataclasses.fields(value)]
    elif isinstance(value, tuple):
        inside = list(value)
    for one in inside:
        yield from parts_of(one)


@pytest.mark.parametrize("capture", demo_captures(), ids=lambda path: path.stem[:10])
def test_a_record_survives_json(capture: Path) -> None:
    """Written and read back it is equal to the last bit, and holds no number of numpy's."""
    record = demo_session(capture).record
    assert decode_record(encode_record(record)) == record
    leaves = {type(part) for part in parts_of(record) if not dataclasses.is_dataclass(part)}
    assert leaves - {Answer, Kind, Severity, WarningKind} <= {
        bool, float, int, str, tuple, dict, type(None),
    }  # fmt: skip


def test_nothing_in_a_record_can_be_changed(record: SessionRecord) -> None:
    """Every part is a frozen value or a tuple; only the plan keeps its table of free facts."""
    seen = 0
    for part in parts_of(record):
        assert not isinstance(part, list | set | np.ndarray)
        if dataclasses.is_dataclass(part):
            name = dataclasses.fields(part)[0].name
            with pytest.raises(dataclasses.FrozenInstanceError):
                setattr(part, name, None)
            seen += 1
    assert seen > 500


def test_a_second_look_computes_nothing(folder, path, computed) -> None:
    """The record is computed once, and what comes from the cache is equal to it."""
    first = read_session(path)
    assert read_session(str(path)) == first
    assert computed == ["computed"]


def test_only_the_user_can_read_the_cache(folder, path) -> None:
    """The folder has mode 0700 and its files 0600: heart data is nobody else's."""
    if os.name == "nt":
        pytest.skip("Windows keeps a user's folder by other means")
    read_session(path)
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert stat.S_IMODE(kept(folder).stat().st_mode) == 0o600


def test_a_note_makes_the_record_anew(folder, path, computed) -> None:
    """Each note, and its undo, counts at once."""
    before = read_session(path)
    with Capture.open(path) as capture:
        capture.add_note("exclusion", from_ns=0, to_ns=30 * NS_PER_S, sensor=0, reason="warm-up")
    after = read_session(path)
    assert (before.sensors[0].excluded_s, after.sensors[0].excluded_s) == (0, 30)
    assert (before.provenance.notes, after.provenance.notes) == (0, 1)
    with Capture.open(path) as capture:
        capture.add_note("undo", note=1)
    assert read_session(path).sensors[0].excluded_s == 0
    assert len(computed) == 3


def test_another_version_of_the_computation_counts_anew(
    folder, path, computed, monkeypatch
) -> None:
    """A record of another version is not believed, and is written over."""
    read_session(path)
    monkeypatch.setattr(cache, "computation_version", lambda: "0123456789abcdef")
    read_session(path)
    read_session(path)
    assert len(computed) == 2


def test_the_version_follows_the_source(tmp_path, monkeypatch) -> None:
    """Whatever is changed in a module that numbers can depend on makes another version."""
    for name in provenance.SOURCES:
        (tmp_path / name).mkdir(parents=True)
    module = tmp_path / "analysis/statistics/delay.py"
    module.write_text("LEAST = 20\n")
    monkeypatch.setattr(provenance, "ROOT", tmp_path)
    version = provenance.computation_version.__wrapped__
    before = version()
    assert version() == before
    module.write_text("LEAST = 21\n")
    assert version() != before


@pytest.mark.parametrize(
    "damage",
    [
        lambda text: text[: len(text) // 2],
        lambda text: text.replace(b'"seconds":121', b'"seconds":122'),
        lambda _: b"",
        lambda _: b"\n\n",
        lambda text: text.replace(b"sidebeat session record", b"another program's file"),
        lambda text: b"\xff\xfe" + text,
    ],
    ids=["cut off", "one digit", "empty", "empty lines", "foreign", "no text"],
)
def test_what_is_damaged_is_made_again(folder, path, computed, damage) -> None:
    """A damaged or foreign file of the cache is not believed, and a whole one takes its place."""
    first = read_session(path)
    file = kept(folder)
    whole = file.read_bytes()
    damaged = damage(whole)
    assert damaged != whole
    file.write_bytes(damaged)
    assert read_session(path) == first
    assert len(computed) == 2
    assert file.read_bytes() == whole


def test_the_record_of_another_capture_is_not_believed(folder, path, tmp_path, computed) -> None:
    """A file that lies under the name of this capture but was made of another is made again."""
    other = written(tmp_path / "d.sqlite", two_sensors(90), end_s=90)
    read_session(other)
    foreign = kept(folder).read_bytes()
    first = read_session(path)
    with Capture.open(path) as capture:
        file = folder / f"{capture.uuid}.json"
    file.write_bytes(foreign)
    assert read_session(path) == first
    assert len(computed) == 3


def test_a_capture_that_is_not_closed_is_read_every_time(folder, tmp_path, computed) -> None:
    """What may still grow has no record in the cache."""
    path = written(tmp_path / "c.sqlite", two_sensors(60))
    assert read_session(path).provenance.clean is False
    read_session(path)
    assert len(computed) == 2
    assert not folder.exists()


def test_a_cache_that_cannot_be_written_stops_nothing(path, tmp_path, monkeypatch, capsys) -> None:
    """Where no cache can be, the numbers are the same and nothing is said."""
    block = tmp_path / "block"
    block.write_text("a file, not a folder")
    monkeypatch.setenv(CACHE_FOLDER_VARIABLE, str(block))
    assert read_session(path).sensors[0].whole.pairs > 100
    assert capsys.readouterr() == ("", "")


@given(st.binary(max_size=200))
def test_any_bytes_are_a_record_or_are_refused(text: bytes) -> None:
    """Nothing that stands in a file makes anything but a ``NotARecord``."""
    with pytest.raises(NotARecord):
        decode_record(text)


def places_in(plain: object, names: tuple = ()) -> Iterator[tuple]:
    """The way to each value inside of JSON; of a list to its first item alone."""
    if isinstance(plain, dict):
        every = list(plain.items())
    else:
        every = list(enumerate(plain[:1])) if isinstance(plain, list) else []
    for name, value in every:
        yield (*names, name)
        yield from places_in(value, (*names, name))


def firsts(part: Any) -> Any:
    """The same with no more than one item in each of its tuples: others are read alike."""
    items = {one.name: getattr(part, one.name) for one in dataclasses.fields(part)}
    return dataclasses.replace(
        part, **{name: value[:1] for name, value in items.items() if isinstance(value, tuple)}
    )


def test_a_field_of_another_type_is_refused(record: SessionRecord) -> None:
    """Whichever field holds a thing of another type, the record is refused."""
    one_sensor = firsts(dataclasses.replace(record, sensors=(firsts(record.sensors[0]),)))
    plain = json.loads(encode_record(one_sensor))
    ways = list(places_in(plain))
    assert len(ways) > 300
    for *way, last in ways:
        holder = plain
        for name in way:
            holder = holder[name]
        right, holder[last] = holder[last], [{"no": "value"}]
        with pytest.raises(NotARecord):
            decode_record(msgspec.json.encode(plain))
        holder[last] = right
    assert decode_record(msgspec.json.encode(plain)) == one_sensor


def test_another_format_is_refused(record: SessionRecord) -> None:
    """A record that says it is of another format is not read as one of this."""
    text = encode_record(dataclasses.replace(record, format=FORMAT + 1))
    with pytest.raises(NotARecord, match="format"):
        decode_record(text)


def test_pairs_are_what_the_numbers_rest_on(folder) -> None:
    """The mean of the differences of the pairs that are not excluded is the bias, and so on."""
    path = demo_captures()[0]
    record = rowing_session().record
    with Capture.open(path) as capture:
        cache.RecordCache(capture).store(record)
    for sensor, pairs in zip(record.sensors, read_pairs(path), strict=True):
        counted = ~pairs.excluded
        assert (pairs.number, pairs.label) == (sensor.number, sensor.label)
        assert (len(pairs.second), counted.sum()) == (sensor.whole.pairs, sensor.counted.pairs)
        difference = (pairs.test_bpm - pairs.reference_bpm)[counted]
        assert difference.mean() == pytest.approx(sensor.counted.bias.value)
        assert np.abs(difference).mean() == pytest.approx(sensor.counted.mae.value)
        assert all(pairs.why(int(second)) for second in pairs.second[pairs.excluded])


def test_arrays_are_the_same_with_and_without_the_cache(folder, tmp_path, computed) -> None:
    """What is drawn beside a record from the cache is what it was computed from."""
    events = [one for one in two_sensors(150) if not 60 < one.t_ns / NS_PER_S < 75]  # a gap
    with Capture.open(written(tmp_path / "gap.sqlite", events, end_s=150)) as capture:
        cold, warm = session_of(capture), session_of(capture)
    assert computed == ["computed"]
    assert warm.record == cold.record
    for number, series in cold.data.sensors.items():
        assert np.array_equal(series.grid, warm.data.sensors[number].grid)
        assert np.array_equal(series.t_ns, warm.data.sensors[number].t_ns)
    assert warm.data.markers == cold.data.markers != ()


def test_reading_a_kept_record_loads_no_scipy(folder, path) -> None:
    """A record from the cache comes without loading what computes one: a study reads many."""
    read_session(path)
    told = subprocess.run(
        [
            sys.executable,
            "-c",
            f"import sys; from analysis.session import read_session; read_session({str(path)!r});"
            "print([m for m in ('scipy.special', 'scipy.signal', 'analysis.session.compute')"
            " if m in sys.modules])",
        ],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
        timeout=50,
    )
    assert told.stdout.strip() == "[]"
