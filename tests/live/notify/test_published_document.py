"""What the guide says of the published board: its examples, its line for a reader, its rights."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from live.protocol.feed import Tick
from replay.event import NS_PER_S
from tests.live.notify.test_board_publisher import LATE_JOINERS, Published, minute
from tests.standins.board_reader import SCHEMA, checked, definition_of
from tests.standins.broker import running_broker

pytestmark = pytest.mark.timeout(120)

PAGE = (Path(__file__).parents[3] / "docs" / "mqtt.md").read_text(encoding="utf-8")
SECTION = PAGE[PAGE.index("## The board, for screens") :]
EXAMPLES = re.findall(r"^`([^`\n]+)`\n\n```json\n(.*?)^```", SECTION, re.MULTILINE | re.DOTALL)
PREFIX = "gym/board"


@pytest.mark.parametrize(("topic", "text"), EXAMPLES)
def test_an_example_is_a_message(topic, text):
    """Each message that the page shows fits the schema, with no key missing or beside it."""
    checked(topic, text, PREFIX)


def test_each_kind_of_message_is_shown_and_each_topic_listed():
    """One example of each, and a line for each in the table of topics."""
    messages = {one["$ref"].rsplit("/", 1)[1] for one in SCHEMA["oneOf"]}
    assert {definition_of(topic, PREFIX) for topic, _ in EXAMPLES} == messages
    listed = re.findall(r"^\| `PREFIX/([^`]+)` \| (yes|no) \|", SECTION, re.MULTILINE)
    assert {definition_of(f"{PREFIX}/{topic}", PREFIX) for topic, _ in listed} == messages
    kept = {topic.replace("LABEL", "Sorrel") for topic, is_kept in listed if is_kept == "yes"}
    assert kept == {topic for topic in LATE_JOINERS if "Yarrow" not in topic}


@pytest.mark.skipif(shutil.which("mosquitto_sub") is None, reason="needs mosquitto-clients")
def test_the_line_for_a_reader_shows_the_board(tmp_path):
    """The page's ``mosquitto_sub`` shows every topic that is kept, each as a message."""
    (line,) = re.findall(r"^mosquitto_sub .*?(?=  #|$)", SECTION, re.MULTILINE)
    with running_broker(tmp_path) as broker:
        published = Published(broker.port)
        try:
            published.look(*minute())
            published.until(lambda: published.publisher.retained.settled, "confirmation")
            told = _read(line.replace("-p 1883", f"-p {broker.port}"), len(LATE_JOINERS))
        finally:
            published.publisher.close()
    assert {topic.removeprefix(f"{PREFIX}/") for topic in told} == LATE_JOINERS
    for topic, text in told.items():
        checked(topic, text, PREFIX)


@pytest.mark.skipif(shutil.which("mosquitto_passwd") is None, reason="needs mosquitto")
def test_the_rights_are_enough_and_no_more(tmp_path, monkeypatch):
    """With the page's list of access rights the board is published and read; a display cannot
    write.
    """
    rights = re.search(r"^```\n(user .*?)^```", SECTION, re.MULTILINE | re.DOTALL)
    assert rights is not None
    (tmp_path / "rights").write_text(rights[1])
    passwords = tmp_path / "passwords"
    passwords.write_text("sidebeat:one\ndisplay:two\n")
    subprocess.run(["mosquitto_passwd", "-U", str(passwords)], check=True)
    monkeypatch.setenv("BOARD_PASSWORD", "one")
    settings = f"allow_anonymous false\npassword_file {passwords}\nacl_file {tmp_path / 'rights'}\n"
    with running_broker(tmp_path, settings) as broker:
        login = f"-p {broker.port} -u display -P two"
        more = (*login.split(), "-t", f"{PREFIX}/more")
        subprocess.run(["mosquitto_pub", *more, "-r", "-m", "rubbish"], check=True)
        kept = subprocess.run(
            ["mosquitto_sub", *more, "-W", "1"], check=False, timeout=30, capture_output=True
        )
        assert kept.stdout == b""
        published = Published(broker.port, username="sidebeat", password_env="BOARD_PASSWORD")
        try:
            published.look(*minute())
            published.until(lambda: published.publisher.retained.settled, "confirmation")
            published.look(Tick(71 * NS_PER_S))
            told = _read(f"mosquitto_sub {login} -v -t {PREFIX}/#", len(LATE_JOINERS))
        finally:
            published.publisher.close()
    assert {topic.removeprefix(f"{PREFIX}/") for topic in told} == LATE_JOINERS
    assert json.loads(told[f"{PREFIX}/state"])["state"] == "recording"


def _read(line, messages):
    """What a line of ``mosquitto_sub -v`` shows first, by topic."""
    shown = subprocess.run(
        ["bash", "-c", f"{line} -C {messages} -W 30"],
        check=True, timeout=40, capture_output=True, text=True,
    ).stdout  # fmt: skip
    return dict(one.split(" ", 1) for one in shown.splitlines())
