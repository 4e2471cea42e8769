"""What is wrong with a broker, each cause met on a real mosquitto and told in its own sentence."""

from __future__ import annotations

import asyncio
import socket
import struct
import threading
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from unittest.mock import Mock

import aiomqtt
import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

from live.sources import broker as brokers
from replay.broker import Broker
from replay.errors import PlanError
from replay.link_state import LinkState
from replay.plan import load_plan
from tests.standins.authority import Authority
from tests.standins.broker import running_broker

# The client library leaves the socket of a failed handshake to the collector, which closes it.
pytestmark = pytest.mark.filterwarnings(
    "ignore:Exception ignored in. <ssl.SSLSocket:pytest.PytestUnraisableExceptionWarning"
)


@pytest.fixture
def authority(tmp_path: Path) -> Authority:
    return Authority(tmp_path / "authority")


async def _tried(planned: Broker) -> tuple[LinkState, str] | None:
    """What an attempt tells; ``None`` if it is let in."""
    client = brokers.new_client(
        planned, "bench", brokers.password_of(planned), brokers.tls_of(planned)
    )
    try:
        async with client:
            return None
    except aiomqtt.MqttError as error:
        return await brokers.understood(error, planned)
    finally:
        client.end()


def tried(planned: Broker) -> tuple[LinkState, str] | None:
    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        return runner.run(_tried(planned))


def told(planned: Broker) -> str:
    found = tried(planned)
    assert found is not None
    return found[1]


def test_a_host_that_nobody_knows(tmp_path: Path):
    """An unknown name is the setting host, not the network's cable."""
    assert "no computer is called 'broker.invalid'" in told(Broker(host="broker.invalid"))


def test_a_port_where_nothing_listens(tmp_path: Path):
    """A refused connection names the port."""
    with running_broker(tmp_path) as gone:
        port = gone.port
    state, sentence = tried(Broker(port=port)) or (None, "")
    assert state is LinkState.ADAPTER_OFF
    assert sentence.startswith(f"The broker at 127.0.0.1:{port} cannot be reached: nothing listens")


def test_tls_on_a_plain_port(tmp_path: Path):
    """Encryption asked of a port without it is named as that."""
    with running_broker(tmp_path) as plain:
        assert f"does not speak TLS on port {plain.port}" in told(Broker(port=plain.port, tls=True))


def test_plain_on_a_tls_port(tmp_path: Path, authority: Authority, monkeypatch):
    """A broker that answers and does not greet may want encryption."""
    monkeypatch.setattr(brokers, "TIMEOUT_S", 1.0)
    with running_broker(tmp_path, authority.settings()) as encrypted:
        assert "tls = true in [broker]" in told(Broker(host="localhost", port=encrypted.port))


def test_a_certificate_that_nobody_here_trusts(tmp_path: Path, authority: Authority):
    """Without the authority's file it is asked for; with it the broker is trusted."""
    with running_broker(tmp_path, authority.settings()) as encrypted:
        planned = Broker(host="localhost", port=encrypted.port, tls=True)
        assert "name the file of its authority as ca_file" in told(planned)
        assert tried(replace(planned, ca_file=str(authority.ca))) is None
        other = Authority(tmp_path / "other")
        assert "check ca_file" in told(replace(planned, ca_file=str(other.ca)))


def test_a_certificate_for_another_name(tmp_path: Path, authority: Authority):
    """A host that is not the certificate's is told with what to write."""
    with running_broker(tmp_path, authority.settings()) as encrypted:
        planned = Broker(host="127.0.0.1", port=encrypted.port, tls=True, ca_file=str(authority.ca))
        assert "shows a certificate for another name" in told(planned)


def test_a_certificate_of_this_computer(tmp_path: Path, authority: Authority, monkeypatch):
    """A broker that wants one says nothing; the sentence names it, and with it one is let in."""
    monkeypatch.setattr(brokers, "TIMEOUT_S", 2.0)
    with running_broker(tmp_path, authority.settings("require_certificate true")) as strict:
        planned = Broker(host="localhost", port=strict.port, tls=True, ca_file=str(authority.ca))
        assert "cert_file and key_file in [broker]" in told(planned)
        assert tried(replace(planned, cert_file=str(authority.own))) is None


def test_the_name_in_a_certificate_is_the_user_of_the_rights(tmp_path: Path, authority: Authority):
    """As the documents set a broker up: no password, and only what the list allows."""
    rights = tmp_path / "rights"
    rights.write_text("user bench\ntopic readwrite gym/+/hr\n")
    settings = authority.settings(
        "require_certificate true", "use_identity_as_username true", f"acl_file {rights}"
    )
    heard, came = [], threading.Event()
    with running_broker(tmp_path, settings) as strict:
        client = paho.Client(CallbackAPIVersion.VERSION2)
        client.tls_set(str(authority.ca), str(authority.own))

        def take(_client, _data, message) -> None:
            heard.append(message.topic)
            came.set()

        client.on_message = take
        client.connect("localhost", strict.port)
        client.loop_start()
        client.subscribe("#", 1)
        for topic in ("hall/hr", "gym/yarrow/hr"):
            client.publish(topic, b"90", qos=1).wait_for_publish(10)
        assert came.wait(10)
        client.disconnect()
        client.loop_stop()
    assert heard == ["gym/yarrow/hr"]


def test_a_login_that_is_missing_or_wrong(tmp_path: Path, monkeypatch):
    """Who gave none is told of the settings; who gave one, which user was refused."""
    monkeypatch.setenv("BENCH_SECRET", "opensesame")
    with running_broker(tmp_path, "allow_anonymous false") as closed:
        assert "it may want a login" in told(Broker(port=closed.port))
        sentence = told(Broker(port=closed.port, username="tester", password_env="BENCH_SECRET"))
    assert "refuses 'tester' (Not authorized)" in sentence
    assert "BENCH_SECRET" in sentence
    assert "opensesame" not in sentence


def test_a_certificate_that_is_out_of_date(tmp_path: Path):
    """Neither the name nor the authority is at fault, and the sentence says so."""
    past = Authority(tmp_path / "past", not_after=datetime(2001, 1, 1, tzinfo=UTC))
    with running_broker(tmp_path, past.settings()) as encrypted:
        planned = Broker(host="localhost", port=encrypted.port, tls=True, ca_file=str(past.ca))
        assert "shows a certificate that is out of date" in told(planned)


def test_whoever_resets_a_connection_is_there(monkeypatch: pytest.MonkeyPatch):
    """Asked whether anybody answers on the port, a reset is an answer; a refusal is none."""
    ended = aiomqtt.MqttError("as the client says it")
    ended.__cause__ = ConnectionResetError()

    async def check() -> list[LinkState]:
        found = []
        for error in (ConnectionResetError, ConnectionRefusedError):
            monkeypatch.setattr(asyncio, "open_connection", Mock(side_effect=error))
            found.append((await brokers.understood(ended, Broker()))[0])
        return found

    assert asyncio.run(check()) == [LinkState.REFUSED, LinkState.ADAPTER_OFF]


@pytest.mark.parametrize("port", [1, 65535])
def test_the_first_and_the_last_port_can_be_meant(port: int):
    """A plan may name any port that there is."""
    assert brokers.password_of(Broker(port=port)) is None


@pytest.mark.parametrize(
    ("code", "refused"),
    [
        (0, False),
        (1, False),
        (128, True),
        (ReasonCode(PacketTypes.SUBACK, "Granted QoS 1"), False),
        (ReasonCode(PacketTypes.SUBACK, "Not authorized"), True),
    ],
)
def test_answers_to_a_subscription(code: object, refused: bool):
    """From 128 on an answer is a failure (MQTT 3.1.1, 3.9.3; MQTT 5, 3.9.3)."""
    assert brokers.is_refusal(code) is refused


@pytest.mark.parametrize(
    ("settings", "complaint"),
    [
        ({"ca_file": "ca.pem"}, "has no meaning without tls = true"),
        (
            {"tls": True, "ca_file": "/nowhere/ca.pem"},
            r"broker\.ca_file: cannot be read as certificates \(No such file or directory\)",
        ),
        ({"tls": True, "key_file": "k.pem"}, "is needed where there is a key_file"),
        ({"tls": True, "cert_file": "/nowhere/c.pem"}, r"broker\.cert_file: and its key cannot"),
    ],
)
def test_files_that_cannot_be_meant_are_known_beforehand(settings, complaint: str):
    """What is wrong with certificates is an error of the plan, before anything starts."""
    with pytest.raises(PlanError, match=complaint):
        brokers.tls_of(Broker(**settings))


def test_files_count_from_the_folder_of_the_plan(tmp_path: Path):
    """A certificate beside the plan is found from wherever the command is called."""
    plan = tmp_path / "plan.toml"
    plan.write_text(
        '[session]\nwearer = "W1"\nactivity = "rowing ergometer"\n'
        '[broker]\nhost = "localhost"\ntls = true\nca_file = "ca.pem"\n'
        '[[sensor]]\nlabel = "Yarrow"\nrole = "reference"\nsource = "mqtt"\ntopic = "hr"\n'
    )
    loaded = load_plan(plan).broker
    assert loaded is not None
    assert (loaded.ca_file, loaded.cert_file) == (str(tmp_path / "ca.pem"), "")


def test_a_broker_behind_a_relay_may_restart():
    """A port that takes connections and resets them is refused at first; where the same settings
    have been good before, it is waited for like one that is out of reach.
    """
    with socket.create_server(("127.0.0.1", 0)) as relay:

        def reset() -> None:
            while True:
                try:
                    line, _ = relay.accept()
                except OSError:
                    return
                line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
                line.close()

        thread = threading.Thread(target=reset)
        thread.start()
        planned = Broker(port=relay.getsockname()[1])

        async def told() -> list[tuple[LinkState, str]]:
            error = aiomqtt.MqttError("as the client says it")
            error.__cause__ = ConnectionResetError()
            return [
                await brokers.understood(error, planned, was_let_in=before)
                for before in (False, True)
            ]

        try:
            first, again = asyncio.run(told())
        finally:
            relay.shutdown(socket.SHUT_RDWR)
            thread.join()
    assert first[0] is LinkState.REFUSED
    assert "not in plain MQTT" in first[1]
    assert again[0] is LinkState.ADAPTER_OFF
    assert "behind a relay" in again[1]
