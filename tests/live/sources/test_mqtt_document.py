"""The guide's page about MQTT: its plans and its lines, tried with a real broker and its tools."""

from __future__ import annotations

import asyncio
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from live.capture.clock import MonotonicClock
from live.sources.mqtt import MqttSource
from replay.broker import Broker
from replay.channels import HEART_RATE_CHANNELS, decode
from replay.event import ADVICE, Stamp
from replay.payloads import HeartRate
from replay.plan import Plan, parse_plan
from tests.standins.broker import running_broker

PAGE = (Path(__file__).parents[3] / "docs" / "mqtt.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\w+)\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)
PLANS = [parse_plan(text) for kind, text in BLOCKS if kind == "toml" and "[session]" in text]
LINES = [
    line.split("  #")[0].strip()
    for kind, text in BLOCKS
    if kind == "sh"
    for line in text.splitlines()
    if "mosquitto_pub" in line
]


def _plan_of(topic: str, port: int) -> Plan:
    plan = next(one for one in PLANS if any(s.topic == topic for s in one.sensors))
    return replace(plan, broker=Broker(host="127.0.0.1", port=port))


@pytest.mark.skipif(shutil.which("mosquitto_pub") is None, reason="needs mosquitto-clients")
@pytest.mark.parametrize("line", LINES)
def test_a_line_of_the_page_is_a_reading_of_its_plan(line: str, tmp_path: Path) -> None:
    """What the line publishes is heard by the page's own plan as 92 bpm."""
    topic = re.search(r" -t (\S+)", line)[1]  # type: ignore[index]
    heard: list[tuple[str, bytes]] = []
    stamps: list[Stamp] = []

    async def check(port: int) -> None:
        plan = _plan_of(topic, port)
        changed = asyncio.Event()

        def emit(
            _t_ns: int, sensor: int, channel: str, payload: bytes, *, foreign: Stamp | None = None
        ) -> None:
            if foreign is not None:
                stamps.append(foreign)
            if plan.sensor(sensor).topic == topic:
                heard.append((channel, payload))
                changed.set()

        source = asyncio.ensure_future(MqttSource(plan).run(MonotonicClock(), emit))
        async with asyncio.timeout(40):
            while not any(name == ADVICE and b"Waiting for" in text for name, text in heard):
                changed.clear()
                await changed.wait()
            await asyncio.to_thread(_run, line.replace("-p 1883", f"-p {port}"))
            while not any(name in HEART_RATE_CHANNELS for name, _ in heard):
                changed.clear()
                await changed.wait()
        source.cancel()
        await asyncio.gather(source, return_exceptions=True)

    with (
        running_broker(tmp_path) as broker,
        asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner,
    ):
        runner.run(check(broker.port))
    (reading,) = [decode(*one) for one in heard if one[0] in HEART_RATE_CHANNELS]
    assert isinstance(reading, HeartRate)
    assert reading.bpm == 92
    if "skin" in line:
        assert (reading.contact, len(reading.rr)) == (True, 2)


def test_the_page_has_lines_for_every_form() -> None:
    """A bare number, raw bytes, JSON and hexadecimal are each shown by a line."""
    assert len(LINES) == 4
    assert [any(sign in line for line in LINES) for sign in ("-m 92", "printf", "{", "005c")] == [
        True
    ] * 4


def _run(line: str) -> None:
    subprocess.run(["bash", "-c", line], check=True, timeout=30)
