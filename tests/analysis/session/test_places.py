"""Boards kept at places of a recording: the very same boards, and none that others wrote."""

from __future__ import annotations

import os
import shutil
import zipfile

import pytest

from analysis.board import Board
from analysis.session import places
from analysis.session.places import KeptPlaces, Place, keep_places
from replay.capture import Capture
from replay.demo_files import demo_captures
from replay.event import HEART_RATE, LINK, Event
from tests.standins.feeds import two_sensors, written


@pytest.fixture(autouse=True)
def _few_events_apart(monkeypatch, tmp_path):
    monkeypatch.setattr(places, "LEAST_SPACING", 400)
    monkeypatch.setenv("SIDEBEAT_CACHE_DIR", str(tmp_path / "cache"))


@pytest.fixture
def path(tmp_path):
    """A recording with 1,200 events."""
    return written(tmp_path / "c.sqlite", two_sensors(600), end_s=600)


def file_of(path):
    """The file of the cache that holds the places of a capture."""
    with Capture.open(path) as capture:
        return places.cache_folder().with_name("places") / f"{capture.uuid}.zip"


def loaded(path):
    """How many places are found for a capture as it is now."""
    with Capture.open(path) as capture:
        kept = KeptPlaces(capture)
        kept.load()
        try:
            return len(kept.places)
        finally:
            kept.close()


def test_a_kept_board_is_the_one_that_saw_every_event(monkeypatch):
    """At each place, and at the end when it goes on from there: all that it says is the same."""
    monkeypatch.setattr(places, "LEAST_SPACING", 1_200)
    path = demo_captures()[2]
    keep_places(path)
    with Capture.open(path) as capture:
        plain, going_on = Board(capture.plan), []
        kept = KeptPlaces(capture)
        assert kept.load()
        assert len(kept.places) >= 3
        for taken, event in enumerate(capture.events(), 1):
            plain.feed(event)
            for board in going_on:
                board.feed(event)
            if taken % 1_200 == 0:
                number = len(going_on)
                assert kept.places[number].taken == taken
                board = kept.board(number)
                assert board.snapshot() == plain.snapshot()
                going_on.append(board)
        plain.finish(capture.duration_ns)
        for board in going_on:
            board.finish(capture.duration_ns)
            assert board.snapshot() == plain.snapshot()
            assert board.warnings == plain.warnings
            for sensor in range(1, len(capture.plan.sensors) + 1):
                assert board.grid(sensor).tolist() == plain.grid(sensor).tolist()
                for mine, its in zip(board.series(sensor), plain.series(sensor), strict=True):
                    assert mine.tolist() == its.tolist()
        kept.close()


def test_a_place_counts_the_events_of_its_instant_and_the_readings():
    """So that a player goes on with exactly those that follow."""
    reading = Event(5, 1, HEART_RATE, bytes((0, 60)))
    at = Place().after(reading).after(reading)
    assert at == Place(taken=2, t_ns=5, same=2, notifications=2, newest_ns=5)
    link = Event(9, 1, LINK, b"streaming")
    assert at.after(link) == Place(taken=3, t_ns=9, same=1, notifications=2, newest_ns=5)


def test_places_are_of_one_capture_as_it_stands(path):
    """A note makes another capture of it: its labels may be others."""
    keep_places(path)
    assert loaded(path) == 3
    with Capture.open(path) as capture:
        capture.add_note("relabel", sensor=2, label="Tansy")
    assert loaded(path) == 0
    keep_places(path)
    assert loaded(path) == 3


def test_another_version_of_the_computation_makes_them_anew(path, monkeypatch):
    """A board of other rules would say what these never did."""
    keep_places(path)
    monkeypatch.setattr(places, "computation_version", lambda: "another")
    assert loaded(path) == 0


def test_what_is_kept_is_not_made_again(path, monkeypatch):
    """The capture is played once."""
    keep_places(path)
    monkeypatch.setattr(KeptPlaces, "make", None)
    keep_places(path)


@pytest.mark.parametrize("open_to_others", ["file", "folder"])
def test_what_others_could_have_written_is_not_read(path, open_to_others):
    """A board is thawed by running what the file says."""
    keep_places(path)
    kept = file_of(path)
    assert kept.stat().st_mode & 0o777 == 0o600
    (kept if open_to_others == "file" else kept.parent).chmod(0o777)
    assert loaded(path) == 0


def test_a_link_to_elsewhere_is_not_followed(path, tmp_path):
    """The owner of a link says nothing of what it leads to."""
    keep_places(path)
    kept = file_of(path)
    kept.rename(tmp_path / "elsewhere.zip")
    kept.symlink_to(tmp_path / "elsewhere.zip")
    assert loaded(path) == 0


def test_a_damaged_file_costs_nothing_but_its_places(path):
    """Each byte of its index and of a board may be wrong: there are none, or the true ones."""
    keep_places(path)
    kept = file_of(path)
    whole = kept.read_bytes()
    for at in range(0, len(whole), len(whole) // 30):
        kept.write_bytes(whole[:at] + bytes([whole[at] ^ 0x20]) + whole[at + 1 :])
        with Capture.open(path) as capture:
            places_kept = KeptPlaces(capture)
            if places_kept.load():
                for number, place in enumerate(places_kept.places):
                    board = places_kept.board(number)
                    assert board is None or board.snapshot().t_ns == place.t_ns
            places_kept.close()
    kept.write_bytes(whole[:-40])
    assert loaded(path) == 0


def test_a_capture_that_was_not_closed_has_none(path):
    """It may grow while it is looked at."""
    with Capture.open(path) as capture:
        capture.clean = False
        kept = KeptPlaces(capture)
        assert not kept.can_be_made
        kept.make(capture)
        assert not kept.load()


def test_the_oldest_places_go_where_all_are_too_many(path, tmp_path, monkeypatch):
    """The cache has a limit, and what was just made stays in any case."""
    other = written(tmp_path / "d.sqlite", two_sensors(500), end_s=500)
    keep_places(path)
    keep_places(other)
    assert loaded(path) == 3
    os.utime(file_of(path), (0, 0))
    file_of(other).unlink()
    monkeypatch.setattr(places, "MOST_BYTES", file_of(path).stat().st_size + 10)
    keep_places(other)
    assert loaded(path) == 0
    assert loaded(other) == 2


def test_a_cache_that_cannot_be_written_stops_nothing(path, tmp_path):
    """A file stands where the folder should be."""
    shutil.rmtree(tmp_path / "cache", ignore_errors=True)
    (tmp_path / "cache").write_text("")
    keep_places(path)
    assert loaded(path) == 0


@pytest.fixture
def stepped_back(monkeypatch):
    """By how much the process asked to stand behind the others; this one stays where it is."""
    asked = []
    monkeypatch.setattr(os, "nice", lambda by: asked.append(by) or 0)
    yield asked
    monkeypatch.undo()


def test_the_process_of_its_own_keeps_them_and_tells_of_nothing_else(
    path, tmp_path, stepped_back, capfd
):
    """As the player starts it; a file that is no capture is the player's to speak of."""
    assert places.main([str(path)]) == 0
    assert stepped_back == [10]
    assert loaded(path) == 3
    (tmp_path / "no.sqlite").write_text("no capture")
    assert places.main([str(tmp_path / "no.sqlite")]) == 1
    assert capfd.readouterr() == ("", "")


def test_the_series_are_kept_once_for_all_places(path):
    """Else a long recording would be kept as often as it has places."""
    keep_places(path)
    with zipfile.ZipFile(file_of(path)) as archive:
        names = archive.namelist()
    assert sum(name.startswith("board") for name in names) == 3
    assert sum(name.startswith("series") for name in names) <= 3 * 2
