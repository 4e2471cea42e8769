"""Tables: delimiters, headers, columns, units, and what has to be asked."""

from __future__ import annotations

import tracemalloc

import pytest

from replay.channels import decode
from replay.errors import ActivityFileError, ColumnsUnclear
from replay.files import TableOptions, read_activity
from replay.payloads import encode_file_heart_rate
from replay.text import grouped

NEEDS = ("fitdecode", "gpxpy")  # imported by what is called

NOON = 1_772_625_600 * 10**9


def table(folder, text, encoding="utf-8", **options):
    path = folder / "tansy.csv"
    path.write_bytes(text.encode(encoding))
    return read_activity(path, TableOptions(**options))


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_delimiters_and_line_ends(delimiter, ending, tmp_path):
    """Commas, semicolons, tabs and bars are found, with the line ends of any system."""
    rows = ["time", "2026-03-04T12:00:00Z", "2026-03-04T12:00:01Z"]
    cells = ["Heart Rate (bpm)", "140", "141"]
    text = ending.join(
        delimiter.join(row) for row in zip(rows, ("step", "7", "8"), cells, strict=True)
    )
    series = table(tmp_path, text)
    assert (series.times_ns, series.values) == ((NOON, NOON + 10**9), ("140", "141"))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_encodings(encoding, tmp_path):
    """UTF-8 and UTF-16 are told by their marks; anything else is read as Latin-1, and said."""
    text = "time,hr,Höhe\n2026-03-04T12:00:00Z,140,3\n2026-03-04T12:00:01Z,141,3\n"
    series = table(tmp_path, text, encoding)
    assert series.values == ("140", "141")
    assert any("Latin-1" in remark for remark in series.remarks) == (encoding == "latin-1")


def test_a_preamble_is_stepped_over(tmp_path):
    """Lines before the header, and blank ones, are not rows."""
    text = "Sorrel export\nserial,77\n\ntime,power,hr\n" + "".join(
        f"2026-03-04T12:00:{s:02}Z,200,{140 + s}\n" for s in range(10)
    )
    series = table(tmp_path, text)
    assert (series.counts.rows, series.values[0]) == (10, "140")


def test_quoted_cells_may_hold_the_delimiter(tmp_path):
    """Quotes keep a cell together."""
    text = (
        'time,"note, free",hr\n2026-03-04T12:00:00Z,"a, b",140\n2026-03-04T12:00:01Z,"c, d",141\n'
    )
    assert table(tmp_path, text).values == ("140", "141")


def test_decimal_commas_stay_as_they_stood(tmp_path):
    """The text of a value is kept; reading it is the decoder's work."""
    series = table(tmp_path, "time;hr\n2026-03-04T12:00:00Z;140,5\n2026-03-04T12:00:01Z;141\n")
    assert series.values == ("140,5", "141")


def test_short_rows_lack_what_they_lack(tmp_path):
    """A row that ends early has no value there, and is counted."""
    series = table(
        tmp_path,
        "time,hr\n2026-03-04T12:00:00Z,140\n2026-03-04T12:00:01Z\n2026-03-04T12:00:02Z,142\n",
    )
    assert (series.values, series.counts.no_heart_rate) == (("140", "142"), 1)


def test_a_table_without_header_has_numbered_columns(tmp_path):
    """Without names the columns have numbers, and must be said."""
    text = "2026-03-04T12:00:00Z,140\n2026-03-04T12:00:01Z,141\n"
    with pytest.raises(ColumnsUnclear) as unclear:
        table(tmp_path, text)
    assert unclear.value.columns == ("column 1", "column 2")
    series = table(tmp_path, text, time_column="column 1", bpm_column="column 2")
    assert series.values == ("140", "141")


def test_unclear_columns_are_named(tmp_path):
    """Two candidates or none: the sentence names the option and the columns."""
    text = "Clock,hr,heart rate\n2026-03-04T12:00:00Z,140,139\n2026-03-04T12:00:01Z,141,140\n"
    with pytest.raises(ColumnsUnclear, match=r"--time-column .* Clock, hr, heart rate") as unclear:
        table(tmp_path, text)
    assert unclear.value.wanted == "time"
    with pytest.raises(ColumnsUnclear, match="--bpm-column") as unclear:
        table(tmp_path, text, time_column="Clock")
    assert (unclear.value.wanted, unclear.value.samples[0][1]) == ("bpm", "140")
    assert table(tmp_path, text, time_column="Clock", bpm_column="hr").values == ("140", "141")


def test_a_column_that_is_not_there_is_said(tmp_path):
    """A wrong name is refused with the list of names."""
    with pytest.raises(ColumnsUnclear, match="no column 'Puls'; there are time, hr"):
        table(tmp_path, "time,hr\n1,2\n3,4\n", bpm_column="Puls")


def test_columns_of_one_name_are_told_apart(tmp_path):
    """Two columns of one name get their places as names."""
    text = "time,hr,hr\n2026-03-04T12:00:00Z,140,1\n2026-03-04T12:00:01Z,141,2\n"
    assert table(tmp_path, text, bpm_column="hr (2)").values == ("140", "141")


def test_date_and_time_of_day_may_stand_apart(tmp_path):
    """Two columns joined by a plus are one time."""
    text = "Date,Clock,hr\n2026-03-04,12:00:00,140\n2026-03-04,12:00:01,141\n"
    assert table(tmp_path, text, time_column="Date+Clock").times_ns == (NOON, NOON + 10**9)


def test_a_pattern_reads_other_dates(tmp_path):
    """What cannot be guessed is asked for, and read by a pattern."""
    text = "time;hr\n04.03.2026 12:00:00;140\n04.03.2026 12:00:01;141\n"
    with pytest.raises(ColumnsUnclear, match="--time-format"):
        table(tmp_path, text)
    series = table(tmp_path, text, time_format="%d.%m.%Y %H:%M:%S", timezone="+01:00")
    assert series.times_ns[0] == NOON - 3600 * 10**9


def test_zoneless_times_are_utc_and_said(tmp_path):
    """Without a zone, UTC is taken and the option named; with one, nothing need be said."""
    text = "time,hr\n2026-03-04 12:00:00,140\n2026-03-04 12:00:01,141\n"
    assert "--timezone" in table(tmp_path, text).remarks[0]
    series = table(tmp_path, text, timezone="Europe/Oslo")
    assert (series.times_ns[0], series.remarks) == (NOON - 3600 * 10**9, ())


def test_elapsed_times_need_a_start(tmp_path):
    """Times counted from the start are of no clock until --start says when that was."""
    text = "elapsed,hr\n0,140\n1,141\n2.5,142\n"
    series = table(tmp_path, text)
    assert (series.anchored, series.times_ns) == (False, (0, 10**9, 2_500_000_000))
    series = table(tmp_path, text, start="2026-03-04T12:00:00Z")
    assert (series.anchored, series.times_ns[0]) == (True, NOON)
    with pytest.raises(ActivityFileError, match="--start 'noon' is not"):
        table(tmp_path, text, start="noon")


@pytest.mark.parametrize(
    ("unit", "values", "mbpm"), [("Hz", ("2.5", "2"), 150_000), ("ms", ("400", "500"), 150_000)]
)
def test_units_stay_with_the_value(unit, values, mbpm, tmp_path):
    """Beats per second and time per beat keep their text and are read in their unit."""
    text = f"time,hr\n2026-03-04T12:00:00Z,{values[0]}\n2026-03-04T12:00:01Z,{values[1]}\n"
    series = table(tmp_path, text, unit=unit)
    assert decode("file-hr", encode_file_heart_rate(series.values[0], series.unit)).mbpm == mbpm


def test_an_unknown_unit_is_refused(tmp_path):
    """A unit that nothing can read is one sentence."""
    with pytest.raises(ActivityFileError, match="there are bpm, Hz, ms, s"):
        table(tmp_path, "time,hr\n1,2\n3,4\n", unit="mph")


def test_garbage_among_values_is_kept(tmp_path):
    """What stood in the file stays as it stood; it will count as malformed."""
    text = "time,hr\n2026-03-04T12:00:00Z,140\n2026-03-04T12:00:01Z,n/a\nspoilt,141\n"
    text += "".join(f"2026-03-04T12:00:{s:02}Z,{140 + s}\n" for s in range(2, 12))
    series = table(tmp_path, text)
    assert (series.values[1], series.counts.no_time) == ("n/a", 1)


@pytest.mark.parametrize("end", ["\n", "\r", "\r\n"])
def test_a_table_without_end_is_refused_before_it_fills_the_memory(tmp_path, monkeypatch, end):
    """Beyond the rows that a session can have not one of them is split."""
    path = tmp_path / "a.csv"
    rows = "".join(f"{1_772_604_900 + n},{60 + n % 90}{end}" for n in range(200_000))
    path.write_bytes(f"time,heart_rate{end}{rows}".encode())
    monkeypatch.setattr("replay.files.table.MOST_ROWS", 5_000)
    monkeypatch.setattr("csv.reader", None)
    tracemalloc.start()
    try:
        with pytest.raises(ActivityFileError, match=f"more than {grouped(5_000)} rows") as caught:
            read_activity(path)
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert len(str(caught.value).splitlines()) == 1
    assert most < 2 * path.stat().st_size + 3_000_000


def test_a_long_table_takes_little_more_than_its_numbers(tmp_path):
    """No second copy of the text, no list of cells: less than 350 bytes a row, file included."""
    path = tmp_path / "a.csv"
    count = 15_000
    rows = "".join(f"{1_772_604_900 + n},{60 + n % 90}\n" for n in range(count))
    path.write_text(f"time,heart_rate\n{rows}")
    tracemalloc.start()
    try:
        series = read_activity(path)
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert len(series.values) == count
    assert most < 350 * count


@pytest.mark.parametrize(
    "row",
    [
        "1772604903," + "9," * 150_000,
        '1772604903,"' + "9\n" * 5_000,
        '1772604903,"9' + '\n","' * 5_000,
    ],
    ids=["long", "unclosed", "unclosed again and again"],
)
def test_a_row_without_end_is_refused(row, tmp_path):
    """A line is not read further than a line can be, nor a row over more lines than it can have."""
    rows = "".join(f"{1_772_604_900 + n},61\n" for n in range(3))
    with pytest.raises(ActivityFileError, match="a row of it has more than"):
        table(tmp_path, f"time,hr\n{rows}{row}\n")


def test_a_table_of_thousands_of_columns_is_refused_in_a_sentence(tmp_path):
    """Of what it quotes, as much is shown as there is room for."""
    header = ",".join(f"column {n}" for n in range(5000))
    rows = ("," * 4999 + "\n") * 3
    with pytest.raises(ActivityFileError, match=r"tansy\.csv: which .* … .*column 4999\)") as told:
        table(tmp_path, f"{header}\n{'1' + rows}{rows}")
    assert len(str(told.value)) < 2000


def test_the_power_of_a_long_table_takes_little_more_than_its_numbers(tmp_path):
    """What stands beside the heart rate is kept as numbers, in order of time."""
    path = tmp_path / "a.csv"
    count = 5_000
    rows = "".join(f"{1_772_604_900 + n},61,{n % 300 + 1}\n" for n in reversed(range(count)))
    path.write_text(f"time,heart_rate,power\n{rows}")
    tracemalloc.start()
    try:
        series = read_activity(path)
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    times, watts = series.signals["power"]
    assert list(times) == list(series.times_ns)
    assert list(watts) == [n % 300 + 1 for n in range(count)]
    assert most < 375 * count
