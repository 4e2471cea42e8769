"""Messages with the heart rate somewhere inside: JSON, hexadecimal and base64."""

from __future__ import annotations

import base64
import json
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from replay.channels import decode, fields
from replay.errors import PayloadError, PlanError
from replay.event import MQTT_MESSAGE
from replay.message_form import MessageForm, parse_message_form
from replay.payloads import HeartRate, decode_heart_rate, encode_heart_rate
from replay.payloads.mqtt_message import message_time_ns

_NESTED = MessageForm(value="heart.bpm", rr="heart.rr", contact="skin")
_MEASUREMENT = encode_heart_rate(142, contact=True, rr=(430, 431))


def _read(form: MessageForm, message: bytes) -> HeartRate:
    reading = decode(MQTT_MESSAGE, form.wrap(message))
    assert isinstance(reading, HeartRate)
    return reading


@pytest.mark.parametrize(
    ("form", "message", "reading"),
    [
        (MessageForm(value="hr"), b'{"hr": 142}', HeartRate(142_000)),
        (MessageForm(value="hr"), b'{"hr": 142.0625}', HeartRate(142_063)),
        (MessageForm(value="hr"), b'{"hr": "142.5"}', HeartRate(142_500)),
        (MessageForm(value="hr"), b'{"hr": null}', HeartRate(0)),
        (MessageForm(value="1.hr"), b'[{"hr": 1}, {"hr": 99}]', HeartRate(99_000)),
        (MessageForm(value="a.0"), b'{"a": {"0": 61}}', HeartRate(61_000)),
        (
            _NESTED,
            b'{"heart": {"bpm": 60, "rr": [1000, 500]}, "skin": true}',
            HeartRate(60_000, contact=True, rr=(1024, 512)),
        ),
        (
            _NESTED,
            b'{"heart": {"bpm": 60, "rr": 1000}, "skin": 0}',
            HeartRate(60_000, contact=False, rr=(1024,)),
        ),
        (
            _NESTED,
            b'{"heart": {"bpm": 60, "rr": null}, "skin": null}',
            HeartRate(60_000),
        ),
        (
            MessageForm(value="b", rr="r", rr_unit="s"),
            b'{"b": 60, "r": [1, 0.5]}',
            HeartRate(60_000, rr=(1024, 512)),
        ),
        (
            MessageForm(value="b", rr="r", rr_unit="1/1024 s"),
            b'{"b": 60, "r": [1024]}',
            HeartRate(60_000, rr=(1024,)),
        ),
    ],
)  # fmt: skip
def test_values_are_found_where_the_form_says(
    form: MessageForm, message: bytes, reading: HeartRate
) -> None:
    """Names and places in lists lead to the value, RR come in 1/1024 s, nothing else is claimed."""
    assert _read(form, message) == reading


@pytest.mark.parametrize(
    ("form", "message"),
    [
        (MessageForm(encoding="hex"), _MEASUREMENT.hex().encode()),
        (MessageForm(encoding="hex"), _MEASUREMENT.hex(" ").upper().encode() + b"\r\n"),
        (MessageForm(encoding="base64"), base64.b64encode(_MEASUREMENT) + b"\n"),
        (MessageForm(value="raw", encoding="hex"), b'{"raw": "%s"}' % _MEASUREMENT.hex().encode()),
    ],
)
def test_a_measurement_may_be_written_as_text(form: MessageForm, message: bytes) -> None:
    """Hexadecimal and base64, alone or inside JSON, read as the bytes they stand for."""
    assert _read(form, message) == decode_heart_rate(_MEASUREMENT)


@pytest.mark.parametrize(
    ("form", "message", "problem"),
    [
        (_NESTED, b"142", "nothing stands at 'heart.bpm'"),
        (_NESTED, b'{"heart": 142}', "nothing stands at 'heart.bpm'"),
        (_NESTED, b'{"heart": {"bpm": 60}}', "nothing stands at 'heart.rr'"),
        (_NESTED, b"\xff{", "not JSON"),
        (_NESTED, b"", "not JSON"),
        (_NESTED, b"[" * 4000, "not JSON"),
        (_NESTED, b'{"heart": "\\ud800"}', "not JSON"),
        (_NESTED, b'{"heart": {"bpm": NaN}}', "not JSON"),
        (MessageForm(value="hr"), b'{"hr": true}', "no heart rate stands at 'hr'"),
        (MessageForm(value="hr"), b'{"hr": -1}', "no heart rate stands at 'hr'"),
        (MessageForm(value="hr"), b'{"hr": 65536}', "no heart rate stands at 'hr'"),
        (MessageForm(value="hr"), b'{"hr": 1e999}', "not JSON"),
        (MessageForm(value="hr"), b'{"hr": %s}' % (b"9" * 400), "heart rate stands"),
        (MessageForm(value="hr"), b'{"hr": [142]}', "no heart rate stands at 'hr'"),
        (MessageForm(value="hr"), b'{"hr": "fast"}', "'fast' at 'hr' is no heart rate"),
        (MessageForm(value="hr"), '{"hr": "１４２"}'.encode(), "is no heart rate"),
        (MessageForm(value="a.1"), b'{"a": [1]}', "nothing stands at 'a.1'"),
        (MessageForm(value="b", rr="r"), b'{"b": 60, "r": ["x"]}', "no RR intervals in ms"),
        (MessageForm(value="b", rr="r"), b'{"b": 60, "r": [64000]}', "no RR intervals in ms"),
        (MessageForm(value="b", rr="r"), b'{"b": 60, "r": [-1]}', "no RR intervals in ms"),
        (MessageForm(value="b", contact="c"), b'{"b": 60, "c": 2}', "neither true nor false"),
        (MessageForm(value="b", contact="c"), b'{"b": 60, "c": "yes"}', "neither true nor false"),
        (MessageForm(encoding="hex"), b"0", "not written in hex"),
        (MessageForm(encoding="base64"), b"AA=A", "not written in base64"),
        (MessageForm(encoding="hex"), b"", "flags are missing"),
        (MessageForm(value="raw", encoding="hex"), b'{"raw": 16}', "no text stands at 'raw'"),
    ],
)
def test_what_is_no_heart_rate_is_refused_with_its_reason(
    form: MessageForm, message: bytes, problem: str
) -> None:
    """A payload that does not fit the form is refused in words that name the path."""
    with pytest.raises(PayloadError, match=problem.replace("(", r"\(")):
        _read(form, message)


@pytest.mark.parametrize(
    ("unit", "written", "time_ns"),
    [
        ("ns", b"1772604900123456789", 1772604900123456789),
        ("us", b"1772604900123456", 1772604900123456000),
        ("ms", b"1772604900123", 1772604900123000000),
        ("s", b'"1772604900.123456789"', 1772604900123456789),
        ("s", b"0.5", 500_000_000),
        ("ms", b"-3", -3_000_000),
        ("ns", b"0.5", 0),
        ("s", b"9223372036", 9223372036 * 10**9),
    ],
)
def test_a_senders_time_is_read_exactly(unit: str, written: bytes, time_ns: int) -> None:
    """Whole numbers and decimal text lose nothing, in every unit."""
    form = MessageForm(value="hr", time="ts", time_unit=unit)
    payload = form.wrap(b'{"hr": 61, "ts": %s}' % written)
    assert message_time_ns(payload) == time_ns
    assert decode(MQTT_MESSAGE, payload) == HeartRate(61_000)


@pytest.mark.parametrize(
    ("written", "problem"),
    [
        (b"null", "no time stands"),
        (b"true", "no time stands"),
        (b'"1e9"', "no time stands"),
        (b'"12:00"', "no time stands"),
        ('"１２"'.encode(), "no time stands"),
        (b"[1]", "no time stands"),
        (b"9223372036855", "out of range"),
        (b"-9223372036856", "out of range"),
        (b"1e300", "out of range"),
        (b"9" * 400, "not JSON|out of range"),
    ],
)
def test_a_time_that_is_none_costs_no_reading(written: bytes, problem: str) -> None:
    """It is refused in words that name the path; the heart rate beside it is read."""
    form = MessageForm(value="hr", time="ts")
    with pytest.raises(PayloadError, match=problem):
        message_time_ns(form.wrap(b'{"hr": 61, "ts": %s}' % written))
    if len(written) < 400:
        assert _read(form, b'{"hr": 61, "ts": %s}' % written) == HeartRate(61_000)
    with pytest.raises(PayloadError, match="nothing stands at 'ts'"):
        message_time_ns(form.wrap(b'{"hr": 61}'))


def test_a_form_without_a_time_has_none() -> None:
    """Where the plan names no time, whatever stands in the message is none."""
    assert message_time_ns(MessageForm(value="hr").wrap(b'{"hr": 61, "ts": 5}')) is None


@given(st.binary(max_size=300), st.sampled_from([_NESTED, MessageForm(encoding="base64")]))
def test_no_bytes_bring_the_decoder_down(message: bytes, form: MessageForm) -> None:
    """Whatever comes is a reading or a refusal, and its fields cover each byte once."""
    payload = form.wrap(message)
    with suppress(PayloadError):
        decode(MQTT_MESSAGE, payload)
    cut = fields(MQTT_MESSAGE, payload)
    assert b"".join(payload[one.start : one.end] for one in cut) == payload


@given(st.integers(25, 240), st.lists(st.integers(250, 2400), max_size=9), st.booleans())
def test_json_says_the_same_as_the_characteristic(bpm: int, rr: list[int], contact: bool) -> None:
    """A measurement told in JSON and as standard bytes is the same reading."""
    told = json.dumps({"heart": {"bpm": bpm, "rr": rr}, "skin": contact}).encode()
    form = MessageForm(value="heart.bpm", rr="heart.rr", rr_unit="1/1024 s", contact="skin")
    raw = encode_heart_rate(bpm, contact=contact, rr=rr)
    assert _read(form, told) == decode_heart_rate(raw)


def test_a_message_is_kept_as_it_came() -> None:
    """Behind the form the bytes are those that were sent, whatever they hold."""
    message = b'{"heart": {"bpm":\x1e 60}}\x00'
    assert _NESTED.wrap(message).partition(b"\x1e")[2] == message
    names = [one.name for one in fields(MQTT_MESSAGE, MessageForm(value="hr").wrap(b'{"hr":61}'))]
    assert names == ["where its values stand", "message, heart rate at 'hr' 61 bpm"]


def test_without_a_form_nothing_is_read() -> None:
    """A payload whose form is missing or broken is refused, not guessed at."""
    for payload in (b"", b"142", b"{}\x1e142", b'{"value":3}\x1e{}', b'{"value":"a..b"}\x1e{}'):
        with pytest.raises(PayloadError, match="nothing says how"):
            decode(MQTT_MESSAGE, payload)


@pytest.mark.parametrize(
    ("table", "rule"),
    [
        ({}, "value: is missing"),
        ({"rr": "x"}, "value: is missing"),
        ({"value": "a..b"}, "names joined by dots"),
        ({"value": ".a"}, "names joined by dots"),
        ({"value": "a\u202eb"}, "names joined by dots"),
        ({"value": "a" * 201}, "names joined by dots"),
        ({"value": 3}, "must be a text"),
        ({"value": "a", "unit": "bpm"}, "is not known"),
        ({"value": "a", "rr": "b", "rr_unit": "us"}, "must be one of ms, s, 1/1024 s"),
        ({"value": "a", "time": "t", "time_unit": "min"}, "must be one of s, ms, us, ns"),
        ({"value": "a", "time": "t", "time_clock": "gps"}, "must be one of own, utc"),
        ({"value": "a", "time": "t."}, "names joined by dots"),
        ({"encoding": "hex", "time": "t"}, "needs a value too"),
        ({"encoding": "octal"}, "must be one of hex, base64"),
        ({"value": "a", "rr": "b", "encoding": "hex"}, "holds RR and contact itself"),
        ("heart.bpm", "must be a table"),
    ],
)
def test_a_form_that_makes_no_sense_is_refused(table: object, rule: str) -> None:
    """The plan is told which key, and what must hold."""
    with pytest.raises(PlanError, match=rule):
        parse_message_form("sensor 1.message", table)
