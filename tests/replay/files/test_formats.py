"""FIT, TCX and GPX: read alike, and what each may be lacking."""

from __future__ import annotations

import sys

import pytest

from replay.errors import ActivityFileError
from replay.files import LARGEST_BYTES, read_activity
from tests.standins.activity_files import START_S, csv_file, fit_file, gpx_file, points, tcx_file

NEEDS = ("fitdecode", "gpxpy")  # imported by what is called

WRITERS = [fit_file, tcx_file, gpx_file, csv_file]
MARKUP = [tcx_file, gpx_file]
BOMB = '<!DOCTYPE bomb [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>\n'


@pytest.mark.parametrize("write", WRITERS)
def test_the_same_series_from_every_format(write, tmp_path):
    """Times to the nanosecond and values as text are the same whatever the format."""
    series = read_activity(write(tmp_path / "tansy", points(300)))
    assert series.times_ns == tuple(round(time * 1e9) for time, _ in points(300))
    assert series.values == tuple(value for _, value in points(300))
    assert series.kind == write.__name__[:3].upper()
    assert (series.anchored, series.remarks, len(series.sha256)) == (True, (), 64)
    assert series.counts.sentences() == []


@pytest.mark.parametrize("write", WRITERS)
def test_rows_that_lack_something_are_counted(write, tmp_path):
    """Rows without a time or a heart rate hold no reading; they are counted, the rest is used."""
    rows = [*points(10), (None, "120"), (None, "121"), (START_S + 10, None), *points(5, first_s=11)]
    series = read_activity(write(tmp_path / "tansy", rows))
    assert len(series.values) == 15
    assert series.counts.sentences() == [
        "2 rows dropped: no time.",
        "1 row dropped: no heart rate.",
    ]


@pytest.mark.parametrize("write", WRITERS)
def test_values_of_zero_are_kept(write, tmp_path):
    """A 0 stood in the file and stays; that it is no heart rate is for the reading to say."""
    series = read_activity(write(tmp_path / "tansy", [*points(5), (START_S + 5, "0")]))
    assert series.values[-1] == "0"


@pytest.mark.parametrize("write", WRITERS)
def test_a_file_without_heart_rate_is_said_to_be_one(write, tmp_path):
    """If no row has a heart rate, one sentence says so."""
    path = write(tmp_path / "tansy", [(START_S + second, None) for second in range(20)])
    with pytest.raises(ActivityFileError, match="none of its 20 rows has a heart rate"):
        read_activity(path)


@pytest.mark.parametrize("write", WRITERS)
def test_a_file_without_times_is_said_to_be_one(write, tmp_path):
    """If no row has a time, one sentence says so, or for a table what could be done."""
    path = write(tmp_path / "tansy", [(None, "120")] * 20)
    with pytest.raises(ActivityFileError, match=r"none of its 20 rows has a time|times mean"):
        read_activity(path)


@pytest.mark.parametrize("write", [fit_file, tcx_file, gpx_file])
def test_a_file_without_records_is_said_to_be_one(write, tmp_path):
    """A file that holds no record at all is refused in one sentence."""
    with pytest.raises(ActivityFileError, match="has no records"):
        read_activity(write(tmp_path / "tansy", []))


@pytest.mark.parametrize("cut", [1, 7, 100, 900])
def test_a_truncated_fit_gives_what_is_whole(cut, tmp_path):
    """A FIT file that breaks off gives every whole record before the break, and says so."""
    path = fit_file(tmp_path / "tansy.fit", points(300))
    path.write_bytes(path.read_bytes()[:-cut])
    series = read_activity(path)
    assert 300 - cut // 6 - 1 <= len(series.values) <= 300
    assert series.values == tuple(value for _, value in points(300))[: len(series.values)]
    assert any("breaks off" in remark or "checksum" in remark for remark in series.remarks)


def test_a_fit_with_a_wrong_checksum_is_used_and_said(tmp_path):
    """A flipped bit in a value is noticed by the file's checksum."""
    path = fit_file(tmp_path / "tansy.fit", points(300))
    data = bytearray(path.read_bytes())
    data[-9] ^= 0x01
    path.write_bytes(data)
    series = read_activity(path)
    assert (len(series.values), "checksum" in series.remarks[0]) == (300, True)


@pytest.mark.parametrize("keep", [12, 14, 20])
def test_a_fit_with_nothing_left_is_refused(keep, tmp_path):
    """A FIT header with nothing whole behind it is one sentence."""
    path = fit_file(tmp_path / "tansy.fit", points(5))
    path.write_bytes(path.read_bytes()[:keep])
    with pytest.raises(ActivityFileError, match=r"tansy\.fit: this FIT file"):
        read_activity(path)


def test_a_truncated_tcx_gives_what_is_whole(tmp_path):
    """A TCX file that breaks off gives every whole point before the break, and says so."""
    path = tcx_file(tmp_path / "tansy.tcx", points(300))
    path.write_bytes(path.read_bytes()[:12_000])
    series = read_activity(path)
    assert series.values == tuple(value for _, value in points(300))[: len(series.values)]
    assert 50 < len(series.values) < 300
    assert "breaks off" in series.remarks[0]


def test_a_truncated_gpx_is_refused(tmp_path):
    """A GPX file that is not whole is one sentence."""
    path = gpx_file(tmp_path / "tansy.gpx", points(50))
    path.write_bytes(path.read_bytes()[:2_000])
    with pytest.raises(ActivityFileError, match="this GPX file is damaged"):
        read_activity(path)


@pytest.mark.parametrize("write", MARKUP)
def test_entity_bombs_are_not_even_parsed(write, tmp_path):
    """A file with a document type declaration is refused before any entity can grow."""
    path = write(tmp_path / "tansy", points(5), before=BOMB)
    with pytest.raises(ActivityFileError, match="declares a document type"):
        read_activity(path)


@pytest.mark.parametrize("write", MARKUP)
@pytest.mark.parametrize(("zone", "hours"), [("+02:00", 2), ("-03:30", -3.5)])
def test_zones_in_the_file_count(write, zone, hours, tmp_path):
    """A time with an offset is turned into UTC."""
    series = read_activity(write(tmp_path / "tansy", points(5), zone=zone))
    assert series.times_ns[0] == round((START_S - hours * 3600) * 1e9)
    assert series.remarks == ()


@pytest.mark.parametrize("write", MARKUP)
def test_times_without_a_zone_are_utc_and_said(write, tmp_path):
    """Both formats ask for UTC; a time that names no zone is taken as that, with a remark."""
    series = read_activity(write(tmp_path / "tansy", points(5), zone=""))
    assert series.times_ns[0] == START_S * 10**9
    assert "no zone" in series.remarks[0]


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "latin-1"])
@pytest.mark.parametrize("write", MARKUP)
def test_other_encodings_are_read(write, encoding, tmp_path):
    """Byte order marks and declared encodings are followed."""
    path = write(tmp_path / "tansy", points(5))
    declared = encoding.removesuffix("-sig").upper().replace("LATIN-1", "ISO-8859-1")
    text = path.read_text(encoding="utf-8").replace("UTF-8", declared)
    path.write_bytes(text.encode(encoding))
    assert len(read_activity(path).values) == 5


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "the file is empty"),
        (b"  \n\n", "the file is empty"),
        (b"<html><body/></html>", "neither TCX nor GPX"),
        (b"<not xml", "neither TCX nor GPX"),
        (b"SQLite format 3\0" + bytes(100), "give it to --into"),
        (b"\x1f\x8b\x08" + bytes(50), "compressed; unpack it first"),
        (b"PK\x03\x04" + bytes(50), "compressed; unpack it first"),
        (bytes(range(256)), "neither FIT, TCX, GPX nor a table"),
        (b"only a line of prose", "neither FIT, TCX, GPX nor a table"),
    ],
)
def test_what_is_no_activity_file_is_one_sentence(content, sentence, tmp_path):
    """Each other kind of file is refused by name, with the way out where there is one."""
    path = tmp_path / "tansy"
    path.write_bytes(content)
    with pytest.raises(ActivityFileError, match=sentence) as refusal:
        read_activity(path)
    assert str(refusal.value).startswith(str(path))


def test_a_missing_file_is_one_sentence(tmp_path):
    """A file that is not there is named."""
    with pytest.raises(ActivityFileError, match=r"none\.fit: cannot be read"):
        read_activity(tmp_path / "none.fit")


@pytest.mark.parametrize(("write", "module"), [(fit_file, "fitdecode"), (gpx_file, "gpxpy")])
def test_a_parser_that_is_not_installed_is_named(write, module, tmp_path, monkeypatch):
    """Without the extra, the sentence says how to get it."""
    monkeypatch.setitem(sys.modules, module, None)
    with pytest.raises(ActivityFileError, match=r"pip install 'sidebeat\[files\]'"):
        read_activity(write(tmp_path / "tansy", points(5)))


def test_a_zone_of_days_is_no_time(tmp_path):
    """The parser lets it through, and stumbles only where it is used."""
    path = gpx_file(tmp_path / "a.gpx", points(5), zone="+99:99")
    with pytest.raises(ActivityFileError, match="none of its 5 rows has a time"):
        read_activity(path)


@pytest.mark.parametrize("suffix", [".fit", ".tcx", ".gpx", ".csv"])
def test_a_file_of_gigabytes_is_not_read(suffix, tmp_path):
    """It takes no place on a disk if nothing is in it."""
    path = tmp_path / f"a{suffix}"
    with path.open("wb") as file:
        file.truncate(LARGEST_BYTES + 1)
    with pytest.raises(ActivityFileError, match="more than 120 MB"):
        read_activity(path)


_TCX = "<TrainingCenterDatabase><Activities><Track>"
_GPX = "<gpx><trk><trkseg>"


@pytest.mark.parametrize(
    "text",
    [
        _TCX + "<a>" * 60,
        _GPX + "<a>" * 60,
        _TCX + "<Trackpoint>" + "<a/>" * 300,
        _GPX + "<trkpt>" + "<a/>" * 300,
        _TCX + "<a " + " ".join(f'a{n}="1"' for n in range(2000)) + "/>",
        _TCX + "<" + "a" * 20_000,
        _GPX + "<a/>" * 3_000_001,
    ],
    ids=["deep", "deep gpx", "wide", "wide gpx", "attributes", "long", "many"],
)
def test_elements_without_end_are_refused_as_they_are_met(text, tmp_path):
    """Neither depth nor number of elements, nor the length of one, is left to the file."""
    path = tmp_path / "a.xml"
    path.write_text(text)
    with pytest.raises(ActivityFileError, match="more elements, or more of them inside one"):
        read_activity(path)


def test_what_is_read_of_a_tcx_file_is_let_go_of(tmp_path):
    """Elements that hold no point take no memory, however many there are."""
    path = tmp_path / "a.tcx"
    other = "<Note>x</Note>" * 30_000
    path.write_text(
        f"{_TCX}{other}<Trackpoint><Time>2026-03-04T12:00:00Z</Time><HeartRateBpm><Value>61"
        f"</Value></HeartRateBpm></Trackpoint>{other}</Track></Activities>"
        "</TrainingCenterDatabase>"
    )
    assert read_activity(path).values == ("61",)
