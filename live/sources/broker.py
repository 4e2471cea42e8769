"""The broker of a plan: its login and its certificates, and what is wrong when it cannot be had.

The client library tells of a failed connection in the words of the operating system.  Which
setting is at fault can be known from the kind of the error, from whether TLS was asked for, and
from whether anybody answers on the port at all; each cause has its own sentence here.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import secrets
import socket
import ssl
from collections.abc import Sequence
from typing import Final

import aiomqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from live.sources.attempt import LARGEST_PACKET, Attempt, HungUpError, brief
from replay.broker import Broker
from replay.errors import PlanError
from replay.link_state import LinkState

ANSWERS_S: Final = 2.0
"""Time for a port to answer when it is asked whether anybody is there."""
TIMEOUT_S: Final = 5.0
"""Time for a broker to let a client in."""
KEEPALIVE_S: Final = 10
"""A broker that vanished without a word is noticed within twice this."""
NEWEST: Final = aiomqtt.ProtocolVersion.V5
OLDER: Final = aiomqtt.ProtocolVersion.V311
"""For brokers that do not speak the newest."""
_NOT_THIS_ONE: Final = 132
"""Unsupported protocol version; the 1 of MQTT 3.1.1 is translated to it by the library."""
_TLS_PORT: Final = "8883 is usual"


def first_version(broker: Broker) -> aiomqtt.ProtocolVersion:
    """Which version of MQTT is tried first."""
    return OLDER if broker.embedded else NEWEST


def where(broker: Broker) -> str:
    """The broker as sentences name it."""
    return f"{broker.host}:{broker.port}"


def password_of(broker: Broker) -> str | None:
    """The broker's password; ``None`` if it has none.  Raises :class:`PlanError` in one sentence
    for what cannot be right about the broker of a plan.
    """
    if not broker.host:
        raise PlanError("broker.host", "is missing")
    if not 1 <= broker.port <= 65535:
        raise PlanError("broker.port", "must lie between 1 and 65535", broker.port)
    if not broker.password_env:
        return None
    if not broker.username:
        raise PlanError("broker.username", "is needed where there is a password")
    password = os.environ.get(broker.password_env)
    if password is None:
        raise PlanError(
            "broker.password_env",
            "names an environment variable that is not set",
            broker.password_env,
        )
    return password


def tls_of(broker: Broker) -> ssl.SSLContext | None:
    """How the broker is verified, and this computer's own certificate where it wants one.

    ``None`` without TLS.  Raises :class:`PlanError` for files that cannot be read or do not belong
    together.
    """
    if not broker.tls:
        for name in ("ca_file", "cert_file", "key_file"):
            if getattr(broker, name):
                raise PlanError(f"broker.{name}", "has no meaning without tls = true")
        return None
    try:
        context = ssl.create_default_context(cafile=broker.ca_file or None)
    except (OSError, ssl.SSLError) as error:
        raise PlanError(
            "broker.ca_file", f"cannot be read as certificates ({brief(error)})", broker.ca_file
        ) from None
    if broker.key_file and not broker.cert_file:
        raise PlanError("broker.cert_file", "is needed where there is a key_file")
    if broker.cert_file:
        try:
            # A key under a passphrase would be asked for on the terminal, in the middle of a start.
            context.load_cert_chain(broker.cert_file, broker.key_file or None, password=_no_phrase)
        except (OSError, ssl.SSLError) as error:
            raise PlanError(
                "broker.cert_file",
                f"and its key cannot be used ({brief(error)})",
                broker.cert_file,
            ) from None
    return context


def new_client(
    broker: Broker,
    identifier: str,
    password: str | None,
    tls: ssl.SSLContext | None,
    *,
    queue_type: type[asyncio.Queue[aiomqtt.Message]] | None = None,
    version: aiomqtt.ProtocolVersion = NEWEST,
    will: aiomqtt.Will | None = None,
) -> Attempt:
    """A client for one attempt.

    It asks the broker for no packet longer than :data:`LARGEST_PACKET`, where the version can say
    so, and hangs up on one that sends a longer one all the same.
    """
    properties = None
    if version is NEWEST:
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.MaximumPacketSize = LARGEST_PACKET
    return Attempt(
        broker.host,
        broker.port,
        username=broker.username or None,
        password=password,
        identifier=identifier,
        tls_context=tls,
        timeout=TIMEOUT_S,
        keepalive=KEEPALIVE_S,
        queue_type=queue_type,
        socket_options=[(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)],
        protocol=version,
        properties=properties,
        will=will,
    )


def may_be_older(error: Exception) -> bool:
    """Whether a broker that did not let a client in may speak an older version of MQTT only."""
    if isinstance(error, aiomqtt.exceptions.MqttConnectError):
        return (error.rc.value if isinstance(error.rc, ReasonCode) else error.rc) == _NOT_THIS_ONE
    return isinstance(error, aiomqtt.MqttError)


async def tried(broker: Broker, topics: Sequence[str] = ()) -> str:
    """One attempt at a broker; what is wrong with it in one sentence, empty if nothing is.

    ``topics``: whether these may be read is asked as well.  Raises :class:`PlanError` as
    :func:`password_of` and :func:`tls_of` do.
    """
    return (await _attempt(broker, topics))[1]


async def refused(broker: Broker) -> str:
    """The same for a broker that may come later: what is wrong with one that answers."""
    state, sentence = await _attempt(broker)
    return sentence if state is LinkState.REFUSED else ""


async def _attempt(broker: Broker, topics: Sequence[str] = ()) -> tuple[LinkState, str]:
    password, tls = password_of(broker), tls_of(broker)
    for version in dict.fromkeys((first_version(broker), OLDER)):
        client = new_client(
            broker, f"sidebeat-{secrets.token_hex(4)}", password, tls, version=version
        )
        try:
            async with client:
                for topic in topics:
                    (code,) = await client.subscribe(topic)
                    if is_refusal(code):
                        return LinkState.REFUSED, may_not_read(broker, topic)
                return LinkState.STREAMING, ""
        except (aiomqtt.MqttError, OSError, ValueError) as error:
            if version is OLDER or not may_be_older(error):
                return await understood(error, broker)
        finally:
            client.end()
    return LinkState.STREAMING, ""


def is_refusal(code: object) -> bool:
    """Whether the answer to a subscription is a failure, in every version of MQTT."""
    value = code.value if isinstance(code, ReasonCode) else code
    return isinstance(value, int) and value >= 128


def may_not_read(broker: Broker, topic: str) -> str:
    """The sentence on a subscription that was refused."""
    return f"The broker at {where(broker)} does not let this user read {topic!r}; allow it there."


async def understood(
    error: Exception, broker: Broker, *, was_let_in: bool = False
) -> tuple[LinkState, str]:
    """Link state and sentence for an error of the client: what is wrong, and what to do.

    ``was_let_in``: with these settings, earlier; so that their kind of connection is the right one.
    """
    state, words = await _cause(error, broker, was_let_in)
    return state, f"The broker at {where(broker)} {words}"


async def _cause(error: Exception, broker: Broker, was_let_in: bool) -> tuple[LinkState, str]:
    if isinstance(error, aiomqtt.exceptions.MqttConnectError):
        return _login(error, broker)
    beneath = error.__cause__ or error.__context__ or error
    if isinstance(beneath, socket.gaierror):
        return LinkState.ADAPTER_OFF, (
            f"is not known: no computer is called {broker.host!r} here; check host in [broker], "
            "and that the network is up."
        )
    if isinstance(beneath, ssl.SSLCertVerificationError):
        return LinkState.REFUSED, _untrusted(beneath, broker)
    if isinstance(beneath, ConnectionRefusedError):
        return LinkState.ADAPTER_OFF, (
            f"cannot be reached: nothing listens on port {broker.port}; check that the broker "
            "runs, and port in [broker]."
        )
    ended = isinstance(beneath, ssl.SSLError | ConnectionResetError | TimeoutError)
    if ended and was_let_in and await _somebody_answers(broker):
        return LinkState.ADAPTER_OFF, (
            "ends each connection at once; it may be starting again behind a relay or a port "
            "mapping, and is tried again."
        )
    if ended and await _somebody_answers(broker):
        return LinkState.REFUSED, _other_language(beneath, broker)
    return LinkState.ADAPTER_OFF, (
        f"cannot be reached ({brief(error)}); check that it runs and that the network is up."
    )


def _login(error: aiomqtt.exceptions.MqttConnectError, broker: Broker) -> tuple[LinkState, str]:
    # By name: the numbers differ between the versions of MQTT.
    reason = str(error.rc) if isinstance(error.rc, ReasonCode) else str(error)
    if "unavailable" in reason.lower() or "busy" in reason.lower():
        return LinkState.ADAPTER_OFF, f"is there, but not ready ({reason}); it is tried again."
    if not broker.username:
        return LinkState.REFUSED, (
            f"refuses this computer ({reason}); it may want a login: username and password_env in "
            "[broker]."
        )
    return LinkState.REFUSED, (
        f"refuses {broker.username!r} ({reason}); check username in [broker], and the password in "
        f"the environment variable {broker.password_env or '(password_env is not set)'}."
    )


def _untrusted(error: ssl.SSLCertVerificationError, broker: Broker) -> str:
    why = error.verify_message
    if error.verify_code == 10:  # X509_V_ERR_CERT_HAS_EXPIRED
        return (
            f"shows a certificate that is out of date ({why}); renew it, or set this computer's "
            "clock."
        )
    if "ostname" in why or "IP address" in why:
        return (
            f"shows a certificate for another name ({why.rstrip('.')}); write the name that stands "
            "in it as host in [broker]."
        )
    how = "check ca_file" if broker.ca_file else "name the file of its authority as ca_file"
    return f"shows a certificate that is not trusted here ({why}); {how} in [broker]."


def _other_language(beneath: BaseException, broker: Broker) -> str:
    if not broker.tls:
        return (
            "answers, but not in plain MQTT; it may want encryption: tls = true in [broker], and "
            f"its port for it ({_TLS_PORT})."
        )
    if isinstance(beneath, TimeoutError | HungUpError) or "alert" in str(beneath).lower():
        return (
            "ends the encrypted connection; it may want a certificate of this computer: cert_file "
            "and key_file in [broker]."
        )
    return (
        f"does not speak TLS on port {broker.port}; give its port for it ({_TLS_PORT}), or take "
        "tls = true out of [broker]."
    )


async def _somebody_answers(broker: Broker) -> bool:
    try:
        async with asyncio.timeout(ANSWERS_S):
            _, writer = await asyncio.open_connection(broker.host, broker.port)
    except ConnectionResetError:  # whoever resets a connection is there
        return True
    except (OSError, TimeoutError):
        return False
    writer.close()
    with contextlib.suppress(OSError):
        await writer.wait_closed()
    return True


def _no_phrase() -> bytes:
    raise ssl.SSLError("the key asks for a passphrase; give one without")
