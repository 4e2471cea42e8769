"""The plan: what it accepts, what it refuses in which words, and its way to text and back."""

from __future__ import annotations

import string
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from replay.broker import Broker
from replay.errors import PlanError
from replay.message_form import MessageForm
from replay.plan import Plan, PlannedSensor, format_plan, load_plan, parse_plan
from replay.text import printable

SMALLEST = """
[session]
wearer = "W1"
activity = "rowing ergometer"

[[sensor]]
label = "Yarrow"
role = "reference"
address = "C0:00:00:00:00:01"
"""

_FORMS = (
    None,
    MessageForm(value="heart.bpm", rr="rr.0", rr_unit="s"),
    MessageForm(encoding="hex"),
    MessageForm(value="hr", time="ts", time_unit="us", time_clock="utc"),
)
_SIGNS = "\"'\\#=[]{}\n\r\t\b\0\x7f\x85\u2028\u200b\ufeff\u0301 aZ9_-.\u00e4\U0001f493"
"""What TOML gives a meaning or forbids, what a screen does not show, and some letters."""


def _text(chance: Random) -> str:
    """Up to 20 signs, every second one of any of Unicode's that UTF-8 can write."""
    return "".join(
        chance.choice(_SIGNS)
        if chance.random() < 0.5
        else chr(chance.choice([chance.randrange(0xD800), chance.randrange(0xE000, 0x110000)]))
        for _ in range(chance.randrange(21))
    )


def _labels(chance: Random, count: int) -> list[str]:
    """Labels that a screen would show alike are one label: a plan refuses them."""
    labels: set[str] = set()
    while len(labels) < count:
        label = printable(_text(chance))
        labels |= {label} if label.strip() else set()
    return sorted(labels)


def _plan(seed: int) -> Plan:
    """Any valid plan with one to four sensors.

    All is drawn from the seed: the dozen texts of a plan would cost more as draws of their own than
    the plan does.
    """
    chance = Random(seed)
    count = chance.randint(1, 4)
    reference = chance.randrange(count)
    sensors = []
    for n, label in enumerate(_labels(chance, count)):
        source = chance.choice(["bluetooth", "mqtt", "simulated"])
        sensors.append(
            PlannedSensor(
                label=label,
                role="reference" if n == reference else chance.choice(["test", "companion"]),
                placement=_text(chance),
                source=source,
                address=f"C0:00:00:00:00:0{n}" if source == "bluetooth" else "",
                topic=f"gym/{n}" if source == "mqtt" else "",
                message=chance.choice(_FORMS) if source == "mqtt" else None,
                kind="strap" if source == "simulated" else "",
                firmware=_text(chance),
                hold_s=chance.choice([0.1, 1.0, 120.0, chance.uniform(0.1, 120)]),
            )
        )
    signs = string.ascii_letters + string.digits
    return Plan(
        wearer="".join(
            [chance.choice(signs), *chance.choices(f"{signs}_-", k=chance.randrange(16))]
        ),
        activity=_text(chance),
        sensors=tuple(sensors),
        tolerance_bpm=chance.choice([0.0, 5.0, 5e-324, 1e-7, 100.0, chance.uniform(0, 100)]),
        tolerance_percent=chance.randint(0, 100),
        broker=chance.choice([None, Broker(host=_text(chance), port=chance.randint(1, 65535))]),
        details={_text(chance): _text(chance) for _ in range(chance.randrange(4))},
        invented=chance.choice([False, True]),
        seed=chance.choice([0, 2**31, chance.randrange(2**31)]),
    )


@given(plan=st.builds(_plan, st.integers(0, 2**32)))
def test_text_and_back_is_the_same_plan(plan: Plan):
    """Every plan that can be made survives being written and read."""
    assert parse_plan(format_plan(plan)) == plan


def test_the_smallest_plan_has_the_usual_tolerance():
    """Without a word about it, agreement means within 5 bpm or 10 %, with 3 s of hold."""
    plan = parse_plan(SMALLEST)
    assert (plan.tolerance_bpm, plan.tolerance_percent) == (5.0, 10.0)
    assert plan.sensor(plan.reference).hold_ns == 3_000_000_000
    assert plan.tests == ()


SECOND = '[[sensor]]\nlabel = "Sorrel"\nrole = "test"\n'
BY_TOPIC = SECOND + 'source = "mqtt"\ntopic = "gym/hr"\n'


@pytest.mark.parametrize(
    ("text", "field", "rule"),
    [
        ("[session", "file", "is not valid TOML"),
        ("", "session", "must be a table"),
        (SMALLEST.replace("wearer", "waerer"), "session.waerer", "is not known"),
        (SMALLEST.replace('wearer = "W1"\n', ""), "session.wearer", "is missing"),
        (SMALLEST.replace('"W1"', '"Jo Someone"'), "session.wearer", "must be a short code"),
        (SMALLEST.replace('"W1"', "1"), "session.wearer", "must be a text"),
        (
            SMALLEST.replace("wearer =", 'heart = "of gold"\nwearer ='),
            "session.heart",
            "must be one of steady, lively",
        ),
        (SMALLEST + "[extra]\n", "extra", "is not a part of a plan"),
        (SMALLEST.split("[[sensor]]", maxsplit=1)[0], "sensor", "at least one [[sensor]]"),
        (SMALLEST.replace("reference", "test"), "sensor.role", "exactly one sensor"),
        (SMALLEST.replace('"reference"', '"boss"'), "sensor.role", "exactly one sensor"),
        (SMALLEST.replace("C0:00:00:00:00:01", ""), "sensor 'Yarrow'", "needs an address"),
        (SMALLEST.replace("Yarrow", " "), "sensor.label", "must not be empty"),
        (SMALLEST + "hold_s = 0\n", "sensor 'Yarrow', hold_s", "must lie between"),
        (SMALLEST + "hold_s = true\n", "sensor 1.hold_s", "must be a number"),
        (SMALLEST + 'source = "post"\n', "sensor 'Yarrow', source", "must be one of"),
        (SMALLEST + 'source = "mqtt"\n', "sensor 'Yarrow'", "needs a topic"),
        (SMALLEST + 'message = {value = "hr"}\n', "sensor 'Yarrow', message", "for MQTT sensors"),
        (
            SMALLEST + 'source = "mqtt"\ntopic = "gym/hr"\nmessage = {rr = "rr"}\n',
            "sensor 1.message.value",
            "is missing",
        ),
        (
            SMALLEST + 'source = "mqtt"\ntopic = "gym/#"\n',
            "sensor 'Yarrow', topic",
            "without wildcards",
        ),
        (SMALLEST + 'source = "simulated"\n', "sensor 'Yarrow'", "needs a kind"),
        (SMALLEST + SECOND.replace("Sorrel", "Yarrow"), "sensor.label", "must be unique"),
        (SMALLEST.replace("Yarrow", "Y" * 61), "sensor.label", "must have at most 60 characters"),
        (SMALLEST + f"hold_s = {'9' * 400}\n", "file", "that is too large: hold_s"),
        (SMALLEST + f"hold_s = {10**18 + 1}\n", "sensor 1.hold_s", "is too large"),
        (SMALLEST + f"x = {'[' * 3000}", "file", "nested too deeply"),
        (SMALLEST + "#" * 200_001, "file", "is longer than 200\u202f000 characters"),
        (
            SMALLEST + SECOND + 'address = "c0:00:00:00:00:01"\n',
            "sensor 'Sorrel', address",
            "is another sensor's already",
        ),
        (
            SMALLEST + BY_TOPIC + BY_TOPIC.replace("Sorrel", "Tansy"),
            "sensor 'Tansy', topic",
            "is another sensor's already",
        ),
        (SMALLEST + 'adapter = "hci"\n', "sensor 'Yarrow', adapter", "named as the system names"),
        (
            SMALLEST + 'source = "mqtt"\ntopic = "gym/hr"\nadapter = "hci0"\n',
            "sensor 'Yarrow', adapter",
            "is for Bluetooth sensors only",
        ),
        (
            SMALLEST + 'source = "mqtt"\ntopic = "gym/\\u200bhr"\n',
            "sensor 'Yarrow', topic",
            "signs that cannot be seen",
        ),
        (SMALLEST + SECOND.replace("test", "boss"), "sensor 'Sorrel', role", "must be one of"),
        (SMALLEST + SECOND, "sensor 'Sorrel'", "needs an address or a name"),
        (
            SMALLEST + BY_TOPIC + '[attention]\ntopic = "gym/hr"\n',
            "attention.topic",
            "is a sensor's topic already",
        ),
        (SMALLEST + "sign = 57\n", "sensor 'Yarrow', sign", "must lie between 0 and 56"),
        (
            SMALLEST.replace("wearer =", "tolerance_bpm = inf\nwearer ="),
            "session.tolerance_bpm",
            "must be a number",
        ),
        (
            SMALLEST.replace("wearer =", "tolerance_percent = 101\nwearer ="),
            "session.tolerance_percent",
            "must lie between 0 and 100",
        ),
        (SMALLEST + "[details]\nage = 3\n", "details", "must be a table of texts"),
        (SMALLEST + '[broker]\nport = "1883"\n', "broker.port", "must be a whole number"),
    ],
)
def test_what_cannot_be_carried_out_is_refused(text: str, field: str, rule: str):
    """The error names the field and the rule, in one line."""
    with pytest.raises(PlanError) as caught:
        parse_plan(text)
    assert field == caught.value.field
    assert rule in caught.value.rule
    assert "\n" not in str(caught.value)


def test_a_file_that_cannot_be_read_is_a_plan_error(tmp_path):
    """A missing plan, a folder and bytes that are no text end in the same kind of error."""
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b"\xff\xfe\x00")
    for path in (tmp_path / "none.toml", tmp_path, binary):
        with pytest.raises(PlanError, match="plan: "):
            load_plan(path)


def test_sensors_are_found_by_label():
    """Numbers count from 1 in the order of the plan; an unknown label names the known ones."""
    plan = parse_plan(SMALLEST + SECOND + 'address = "C0:00:00:00:00:02"\n')
    assert (plan.number("Yarrow"), plan.number("Sorrel")) == (1, 2)
    with pytest.raises(PlanError, match="Yarrow, Sorrel"):
        plan.number("Tansy")
    assert plan.relabelled(2, "Linden").sensor(2).label == "Linden"


@pytest.mark.parametrize(
    ("form", "expected"),
    [
        (MessageForm(), "a number of beats a minute"),
        (
            MessageForm(encoding="hex"),
            "the bytes of the standard heart-rate measurement in hex",
        ),
        (
            MessageForm(value="heart.bpm", rr="rr.0", rr_unit="s", contact="skin"),
            "JSON with a number of beats a minute at 'heart.bpm', RR intervals at 'rr.0', "
            "contact at 'skin'",
        ),
    ],
)
def test_what_a_message_must_look_like_is_told_in_words(form: MessageForm, expected: str):
    """Behind "Expected is"."""
    assert form.expected == expected


def test_companions_are_listed_behind_what_is_compared():
    """Reference, tests in the plan's order, then the others."""
    row = '[[sensor]]\nlabel = "{}"\nrole = "{}"\nname = "{}"\n'
    parts = SMALLEST.split("[[sensor]]")
    rows = "".join(row.format(*one) for one in (("A", "companion", "a"), ("B", "test", "b")))
    plan = parse_plan(parts[0] + rows + "[[sensor]]" + parts[1] + row.format("C", "test", "c"))
    assert (plan.reference, plan.tests) == (3, (2, 4))
    assert plan.shown_order == (3, 2, 4, 1)
