"""A whole simulated session, as the events that a live run would have recorded."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from heapq import merge
from typing import Final, TypeAlias

from live.simulated.kinds import Kind, kind_of
from live.simulated.noise import Noise
from live.simulated.script import Script, script_for
from live.simulated.troubles import Trouble, TroubleKind, Troubles
from live.simulated.world import World, make_world
from replay import event
from replay.event import NS_PER_S, SESSION, Event, pack_int
from replay.link_state import LinkState
from replay.plan import Plan, PlannedSensor

ANCHOR_EVERY_S: Final = 30
DISK_EVERY_S: Final = 60
_QUIET_AFTER_S: Final = 4.0
_FREE_BYTES: Final = 48_000_000_000
_EPOCH_2026_NS: Final = 1_767_225_600 * NS_PER_S

_Row: TypeAlias = tuple[float, str, bytes]


def simulate(
    plan: Plan,
    duration_s: float | None = None,
    script: Script | None = None,
    *,
    troubles: Mapping[int, Iterable[Trouble]] | None = None,
    started_utc_ns: int = _EPOCH_2026_NS,
    notes: Iterable[tuple[float, str]] = (),
) -> Iterator[Event]:
    """All events of a session with the simulated sensors of ``plan``, in order of time.

    ``duration_s``: by default the length of the script; a longer session repeats it.
    ``script``: by default that of the plan's activity.  ``troubles``: by sensor number, in place
    of what its kind brings along.  ``notes``: the tester's markers, with their second.
    Sensors of other sources are left out.  Raises :class:`replay.errors.PlanError` for an
    activity or a kind that does not exist.
    """
    script = script or script_for(plan.activity)
    duration_s = script.duration_s if duration_s is None else duration_s
    world = make_world(plan, script.lasting(duration_s), duration_s)
    given = troubles or {}
    streams = [
        sensor_events(plan, number, world, troubles=given.get(number))
        for number, sensor in enumerate(plan.sensors, 1)
        if sensor.source == "simulated"
    ]
    return merge(session_events(duration_s, started_utc_ns, notes), *streams, key=_in_order)


def session_events(
    duration_s: float, started_utc_ns: int, notes: Iterable[tuple[float, str]] = ()
) -> Iterator[Event]:
    """What the session says of itself: UTC anchors, free disk space, the tester's markers.

    The capture clock runs 5 in a million slow, as the clock of a computer may.
    """
    events = [Event(round(t_s * 1e9), SESSION, event.MARKER, text.encode()) for t_s, text in notes]
    for second in range(0, int(duration_s) + 1, ANCHOR_EVERY_S):
        t_ns = second * NS_PER_S
        utc_ns = started_utc_ns + t_ns + t_ns // 200_000
        events.append(Event(t_ns, SESSION, event.ANCHOR, pack_int(utc_ns)))
    for second in range(0, int(duration_s) + 1, DISK_EVERY_S):
        free = pack_int(_FREE_BYTES - 1_500 * second)
        events.append(Event(second * NS_PER_S, SESSION, event.DISK, free))
    return iter(sorted(events, key=lambda one: one.t_ns))


def usual_troubles(plan: Plan, number: int, world: World) -> list[Trouble]:
    """What tends to happen to a sensor of this kind, drawn for this session."""
    kind = kind_of(plan.sensor(number))
    return kind.troubles(world.script, Noise(plan.seed, 11, number))


def sensor_events(
    plan: Plan,
    number: int,
    world: World,
    *,
    troubles: Iterable[Trouble] | None = None,
    join_s: float = 0.0,
) -> Iterator[Event]:
    """Everything that comes from and about one sensor, from ``join_s`` to the session's end.

    Links go through the states that a radio goes through; a sensor that joins tells who it is
    before its first reading.
    """
    sensor = plan.sensor(number)
    joiner = _Joiner(sensor, kind_of(sensor), Noise(plan.seed, 10, number))
    if troubles is None:
        troubles = usual_troubles(plan, number, world)
    rows = _timeline(joiner, Troubles(troubles), world, join_s)
    last_ns = 0
    for t_s, channel, payload in rows:
        # A late notification never overtakes: the link delivers in order.
        last_ns = max(last_ns, round(t_s * 1e9))
        if last_ns > world.duration_s * 1e9:
            last_ns = round(world.duration_s * 1e9)
        yield Event(last_ns, number, channel, payload)


class _Joiner:
    """One sensor that makes its link, once or again."""

    def __init__(self, sensor: PlannedSensor, kind: Kind, noise: Noise) -> None:
        self.device = kind.device
        self.noise = noise
        self._signal = noise.uniform(-68, -52)
        self._charge = int(noise.uniform(52, 97))
        self._texts = {
            event.MODEL: f"simulated {kind.device.model}",
            event.SERIAL: f"invented-{sensor.label}",
            event.FIRMWARE: sensor.firmware or "1.0.0",
            event.HARDWARE: "A",
            event.MAKER: "Sidebeat simulation",
        }

    def join(self, t_s: float) -> Iterator[_Row]:
        """Found, linked, asked who it is; the last row is that it streams."""
        signal = int(self._signal + self.noise.normal(2))
        yield t_s, event.SIGNAL, signal.to_bytes(1, "little", signed=True)
        yield t_s, event.LINK, _state(LinkState.CONNECTING)
        yield t_s + 0.4, event.LINK, _state(LinkState.PREPARING)
        now_s = t_s + 0.45
        for channel, text in self._texts.items():
            yield now_s, channel, text.encode()
            now_s += self.noise.uniform(0.02, 0.05)
        yield now_s, event.BATTERY, bytes([self._charge])
        if self.device.body_location is not None:
            yield now_s + 0.03, event.BODY_LOCATION, bytes([self.device.body_location])
        yield t_s + 1.2, event.LINK, _state(LinkState.STREAMING)


def _timeline(joiner: _Joiner, troubles: Troubles, world: World, join_s: float) -> Iterator[_Row]:
    """Rows of time in s, channel and payload: joining, streaming, being away, joining again."""
    late = troubles.of(TroubleKind.LATE_START)
    away = troubles.of(TroubleKind.DROPPED)
    end_s = world.duration_s
    yield join_s, event.LINK, _state(LinkState.SEARCHING)
    begin_s = join_s + joiner.noise.uniform(0.8, 2.5)
    if late:
        begin_s = max(begin_s, late[-1].end_s)
    while begin_s < end_s:
        drop = next((one for one in away if one.start_s > begin_s), None)
        until_s = end_s if drop is None else min(drop.start_s, end_s)
        streaming_s = begin_s
        for row in joiner.join(begin_s):
            streaming_s = row[0]
            yield row
        readings = joiner.device.readings(world, joiner.noise, troubles, streaming_s, until_s)
        yield from _with_silence(readings, troubles)
        if drop is None or until_s == end_s:
            break
        yield until_s, event.LINK, _state(LinkState.LOST)
        yield until_s + 1.0, event.LINK, _state(LinkState.SEARCHING)
        begin_s = drop.end_s
    yield end_s, event.LINK, _state(LinkState.STOPPED)


def _with_silence(readings: Iterator[_Row], troubles: Troubles) -> Iterator[_Row]:
    """Leave out what would come while the sensor is silent, and note that it went quiet."""
    quiet = False
    for row in readings:
        silence = troubles.at(row[0], TroubleKind.SILENT)
        if silence is None:
            if quiet:
                yield row[0], event.LINK, _state(LinkState.STREAMING)
                quiet = False
            yield row
        elif not quiet and row[0] - silence.start_s > _QUIET_AFTER_S:
            yield row[0], event.LINK, _state(LinkState.QUIET)
            quiet = True


def _state(state: LinkState) -> bytes:
    return state.value.encode("ascii")


def _in_order(one: Event) -> int:
    return one.t_ns
