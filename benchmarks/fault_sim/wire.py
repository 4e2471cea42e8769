"""From packets to events: bytes with the quirks of real sensors, and the states of a link."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from benchmarks.fault_sim.packets import Packet
from live.simulated.noise import Noise
from replay import event
from replay.event import Event
from replay.link_state import LinkState

Row = tuple[float, str, bytes]

_MOST_RR_PER_S = 4
_MOST_RR = 9
"""Straps were seen to send none to three a second; four let the fastest hearts through.  Nine is
what a notification of the smallest size can carry."""


@dataclass(frozen=True, slots=True)
class Quirks:
    """How one sensor's bytes differ from the plainest form.

    ``contact``: ``told`` in the standard's bits, ``none``, or ``01`` (detected, not supported).
    ``wide``: 16-bit bpm.  ``energy``: an energy field.  ``odd_byte`` / ``rr_later`` /
    ``empty_rr``: share of packets with a trailing byte, with their RR in the next packet (never
    twice in a row), and with the RR bit set though none follows.  ``absurd_per_h``: intervals
    that cannot be.  ``bunches_per_h``: moments at which the radio delivers late and at once.
    ``as_text``: a bare bpm on a topic of a broker instead of the standard's bytes.
    """

    contact: str = "told"
    wide: bool = False
    energy: bool = False
    odd_byte: float = 0.0
    rr_later: float = 0.0
    empty_rr: float = 0.0
    absurd_per_h: float = 0.0
    bunches_per_h: float = 0.0
    as_text: bool = False


def draw_quirks(noise: Noise, *, strap: bool) -> Quirks:
    """Quirks of one sensor; most sensors have one or two of them."""
    bits = noise.uniform()
    return Quirks(
        contact="told" if bits < 0.6 else ("none" if bits < 0.85 else "01"),
        wide=noise.chance(0.15),
        energy=noise.chance(0.15),
        odd_byte=noise.uniform(0.05, 1.0) if strap and noise.chance(0.15) else 0.0,
        rr_later=noise.uniform(0.02, 0.2) if noise.chance(0.3) else 0.0,
        empty_rr=0.5 if noise.chance(0.2) else 0.0,
        absurd_per_h=noise.uniform(1, 3) if strap and noise.chance(0.3) else 0.0,
        bunches_per_h=noise.uniform(2, 12) if noise.chance(0.4) else 0.0,
        as_text=not strap and noise.chance(0.15),
    )


def encoded(packets: Sequence[Packet], quirks: Quirks, noise: Noise) -> list[Row]:
    """Rows of arrival in s, channel and bytes; in order, however late the radio is."""
    rows: list[Row] = []
    kept_back: tuple[int, ...] = ()
    arrived_s = blocked_until_s = 0.0
    period_s = packets[1].t_s - packets[0].t_s if len(packets) > 1 else 1.0
    most_rr = min(math.ceil(_MOST_RR_PER_S * max(period_s, 1.0)), _MOST_RR)
    before_s = packets[0].t_s if packets else 0.0
    for packet in packets:
        spacing_s = min(packet.t_s - before_s, 2.0)
        before_s = packet.t_s
        if noise.chance(quirks.bunches_per_h * spacing_s / 3600):
            blocked_until_s = packet.t_s + noise.uniform(0.5, 1.8)
        arrived_s = max(arrived_s, packet.t_s + noise.uniform(0.005, 0.04), blocked_until_s)
        if quirks.as_text:
            rows.append((arrived_s, event.MQTT_HEART_RATE, str(packet.bpm).encode()))
            continue
        rr = None
        if packet.rr is not None:
            held_before = bool(kept_back)
            rr = kept_back + packet.rr
            rr, kept_back = rr[:most_rr], rr[most_rr:]
            if rr and not held_before and noise.chance(quirks.rr_later):
                rr, kept_back = (), rr + kept_back
            if rr and noise.chance(quirks.absurd_per_h * spacing_s / 3600):
                rr = (*rr, (0, 1, 61_440, 65_535)[int(noise.uniform(0, 4))])
        rows.append((arrived_s, event.HEART_RATE, _payload(packet, rr, quirks, noise)))
    return rows


def _payload(packet: Packet, rr: tuple[int, ...] | None, quirks: Quirks, noise: Noise) -> bytes:
    """Written out here, so that the decoder is not tested by its own inverse."""
    flags = 0x01 if quirks.wide else 0x00
    if quirks.contact == "told":
        flags |= 0x06 if packet.contact else 0x04
    elif quirks.contact == "01":
        flags |= 0x02
    body = packet.bpm.to_bytes(2 if quirks.wide else 1, "little")
    if quirks.energy:
        flags |= 0x08
        body += int(packet.t_s / 4).to_bytes(2, "little")
    if rr or (rr is not None and noise.chance(quirks.empty_rr)):
        flags |= 0x10
        body += b"".join(min(x, 0xFFFF).to_bytes(2, "little") for x in rr)
        if rr and noise.chance(quirks.odd_byte):
            body += b"\0"
    return bytes([flags]) + body


def linked(
    rows: Sequence[Row],
    noise: Noise,
    *,
    identity: str,
    asked_s: float,
    away: Sequence[tuple[float, float]] = (),
    silent: Sequence[tuple[float, float]] = (),
) -> Iterator[Row]:
    """Rows with those about the link put in: found, joined, quiet, lost and joined again.

    ``identity``: the sensor's serial, empty for one that is heard over a broker.  ``asked_s``:
    when it was first looked for.  ``away`` / ``silent``: stretches without a link, and with a
    link that brings nothing.
    """
    marks: list[Row] = [(asked_s, event.LINK, _state(LinkState.SEARCHING))]
    if rows:
        marks += _joining(rows[0][0], noise, identity)
    for start_s, end_s in away:
        marks.append((start_s, event.LINK, _state(LinkState.LOST)))
        marks.append((start_s + 1, event.LINK, _state(LinkState.SEARCHING)))
        back_s = next((t_s for t_s, _, _ in rows if t_s >= end_s), None)
        if back_s is not None:
            marks += _joining(back_s, noise, identity)
    for start_s, end_s in silent:
        if end_s - start_s > 5:
            marks.append((start_s + 4.5, event.LINK, _state(LinkState.QUIET)))
            marks.append((end_s, event.LINK, _state(LinkState.STREAMING)))
    yield from sorted([*marks, *rows], key=lambda row: row[0])


def _joining(first_s: float, noise: Noise, identity: str) -> list[Row]:
    """A link made in the second before the first reading."""
    strength = int(noise.uniform(-75, -48))
    at_s = max(first_s - 0.9, 0.0)
    streaming = (max(first_s - 0.05, at_s + 0.5), event.LINK, _state(LinkState.STREAMING))
    if not identity:
        return [streaming]
    return [
        (at_s, event.SIGNAL, strength.to_bytes(1, "little", signed=True)),
        (at_s, event.LINK, _state(LinkState.CONNECTING)),
        (at_s + 0.3, event.LINK, _state(LinkState.PREPARING)),
        (at_s + 0.4, event.SERIAL, identity.encode()),
        (at_s + 0.45, event.BATTERY, bytes([int(noise.uniform(35, 100))])),
        streaming,
    ]


def _state(state: LinkState) -> bytes:
    return state.value.encode("ascii")


def as_events(rows: Iterator[Row], sensor: int) -> list[Event]:
    """Rows as events of a sensor."""
    return [Event(round(t_s * 1e9), sensor, channel, payload) for t_s, channel, payload in rows]
