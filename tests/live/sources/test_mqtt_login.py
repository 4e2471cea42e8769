"""The login of the MQTT source: from the environment, refused with advice, known beforehand."""

from __future__ import annotations

from pathlib import Path

import pytest

from live.sources.mqtt import MqttSource
from replay.errors import PlanError
from replay.link_state import LinkState
from tests.standins.broker import Publisher, password_file, running_broker
from tests.standins.mqtt_source import (
    TOPICS,
    broker_fixture,  # noqa: F401
    on_selector_loop,
    plan_for,
    published,
    running,
)


def test_a_wrong_password_is_refused_with_advice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The state is refused, the sentence names what to check and never the password."""
    passwords = tmp_path / "passwords"
    passwords.write_text("")
    settings = f"allow_anonymous false\npassword_file {passwords}"
    monkeypatch.setenv("BENCH_SECRET", "opensesame")

    async def check(port: int) -> None:
        plan = plan_for(port, username="tester", password_env="BENCH_SECRET")
        async with running(MqttSource(plan)) as heard:
            await heard.until(lambda: heard.is_now(1, LinkState.REFUSED))
            await heard.until(lambda: heard.advice(1))
        assert "check username in [broker], and the password" in heard.advice(1)[-1]
        assert not any(b"opensesame" in event.payload for event in heard.events)

    with running_broker(tmp_path, settings) as broker:
        on_selector_loop(check(broker.port))


def test_the_password_comes_from_the_named_variable(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the right password in the environment the topic is heard."""
    passwords = password_file(tmp_path, "tester", "opensesame")
    settings = f"allow_anonymous false\npassword_file {passwords}"
    monkeypatch.setenv("BENCH_SECRET", "opensesame")

    async def check(port: int) -> None:
        publisher = Publisher(port, "tester", "opensesame")
        try:
            plan = plan_for(port, username="tester", password_env="BENCH_SECRET")
            async with running(MqttSource(plan)) as heard:
                await heard.until(heard.listening)
                await published(publisher, TOPICS[0], b"142")
                await heard.until(lambda: heard.payloads(1))
            assert heard.payloads(1) == [b"142"]
        finally:
            publisher.close()

    with running_broker(tmp_path, settings) as broker:
        on_selector_loop(check(broker.port))


@pytest.mark.parametrize(
    ("settings", "complaint"),
    [
        ({"username": "tester", "password_env": "NOT_SET_ANYWHERE"}, "is not set"),
        ({"password_env": "PATH"}, "is needed where there is a password"),
    ],
)
def test_an_impossible_login_is_known_beforehand(settings, complaint: str) -> None:
    """What can be seen in the plan is said before anything starts."""
    with pytest.raises(PlanError, match=complaint):
        MqttSource(plan_for(1883, **settings))


@pytest.mark.parametrize("port", [0, 65536, -1])
def test_an_impossible_port_is_known_beforehand(port: int) -> None:
    """A port outside 1 to 65535 is an error of the plan."""
    with pytest.raises(PlanError, match=r"broker\.port"):
        MqttSource(plan_for(port))
