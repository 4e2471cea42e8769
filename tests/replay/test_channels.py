"""The one table of channels: whole, and read by everything that has to do with channels."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from live.sources.bluetooth.scanner import SERVICES as SCANNED
from replay import channels, event
from replay.channels import CHANNELS, DECODERS, LASTING_CHANNELS, Kind, fields, words_of
from replay.event import CHANNEL_NUMBERS

ROOT = Path(__file__).resolve().parent.parent.parent
PACKAGES = ("live", "analysis", "replay")


def test_every_number_has_one_row_and_every_row_a_number() -> None:
    """A channel that has a number but no row, or two rows, would be read by half of the program."""
    assert sorted(row.name for row in CHANNELS) == sorted(CHANNEL_NUMBERS)
    assert len({row.number for row in CHANNELS}) == len(CHANNELS)


@pytest.mark.parametrize("row", CHANNELS, ids=lambda row: row.name)
def test_a_row_is_whole(row: channels.Channel) -> None:
    """What comes from a sensor has a decoder, what the session records has none; all have words."""
    assert (row.decoder is None) == (row.kind is Kind.RECORD)
    assert row.words == row.words.strip() != ""
    assert sum(field.end - field.start for field in fields(row.name, b"\x00\x01\x02")) == 3


def test_characteristics_have_their_full_uuid() -> None:
    """A channel that is named by 16 bits is the characteristic on the standard's base UUID."""
    assert channels.BY_NAME[event.HEART_RATE].uuid == "00002a37-0000-1000-8000-00805f9b34fb"
    assert {row.name for row in CHANNELS if row.uuid is None} == {
        row.name for row in CHANNELS if row.kind is Kind.RECORD
    } | {event.MQTT_HEART_RATE, event.MQTT_MESSAGE, event.FILE_HEART_RATE}


def test_scanning_looks_for_the_services_of_the_table() -> None:
    """Heart rate and every companion are found by the service that they belong to."""
    wanted = {row.service for row in CHANNELS if row.kind is Kind.COMPANION}
    assert None not in wanted
    assert {words for _, words in wanted} < set(SCANNED.values())
    assert len(SCANNED) == len(wanted) + 1


def test_what_is_told_once_lasts() -> None:
    """What a sensor says when asked, its link and its signal hold until told otherwise."""
    assert set(channels.FACT_CHANNELS) < LASTING_CHANNELS
    assert LASTING_CHANNELS - set(channels.FACT_CHANNELS) == {
        event.LINK, event.SIGNAL, event.ADVICE, event.ADDRESS,
    }  # fmt: skip


def test_words_of_an_unknown_channel_are_its_name() -> None:
    """A channel of a later version is called by its name rather than not at all."""
    assert words_of("2aff") == "2aff"
    assert words_of(event.POWER) == "cycling power"


def test_nobody_keeps_a_list_of_companions_beside_the_table() -> None:
    """No other module lists two companions' channels side by side: it would lack the next one."""
    members = {name for name in vars(event) if vars(event)[name] in channels.COMPANION_CHANNELS}
    found = []
    for path in sorted(p for package in PACKAGES for p in (ROOT / package).rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        if sum(name in text for name in members) < 2:
            continue  # need not be parsed
        for node in ast.walk(ast.parse(text)):
            elements = getattr(node, "keys", None) or getattr(node, "elts", None) or []
            listed = {getattr(one, "attr", getattr(one, "id", None)) for one in elements}
            if len(listed & members) > 1:
                found.append(path.relative_to(ROOT).as_posix())
    assert set(found) == {"replay/event.py"}


def test_decoders_are_those_of_the_table() -> None:
    """Each channel of a sensor is decoded by the decoder of its row."""
    assert {row.name: row.decoder for row in CHANNELS if row.decoder} == dict(DECODERS)
