"""What several rules of a session look at: made once, looked at once a second."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Final

from analysis.board.rules.cadence import OnCadence
from analysis.board.rules.delay_estimate import DelayEstimator, ReferenceCourse
from analysis.board.rules.deviation import Deviation, Deviations
from analysis.board.rules.loose import LooseReference
from analysis.board.rules.relay import Relay
from analysis.board.rules.sightings import Sightings
from analysis.board.rules.streams import Stream
from analysis.board.rules.unit_slip import UnitSlip

if TYPE_CHECKING:
    from analysis.board.session_state import SessionState


class Shared:
    """Evidence and rules that other rules of the same session read.

    ``linked``: sensors that the capture itself hears; one that was imported from a file has no
    link that could be mended. ``over_mqtt``: those of them that come through the broker.
    ``timed``: test sensors that one clock stamped together with the reference, so that a delay is
    their own. ``compared``: those that send a heart rate, in the order of the plan; ``streams``,
    ``relays``, ``unit_slips``: one for each of them; ``deviations``, ``on_cadence``: one for each
    test sensor.
    """

    def __init__(self, session: SessionState) -> None:
        self.session: Final = session
        self.linked: Final = tuple(s for s in session.sensors if s.planned.on_capture_clock)
        self.over_mqtt: Final = tuple(s for s in self.linked if s.planned.over_mqtt)
        clock = session.reference.planned
        self.timed: Final = tuple(s for s in session.tests if clock.shares_clock(s.planned))
        self.compared: Final = tuple(s for s in session.sensors if not s.is_companion)
        self.streams: Final = tuple(Stream(sensor) for sensor in self.compared)
        self.sightings: Final = Sightings(self.streams)
        session.watches.append(self.sightings)
        self.relays: Final = tuple(
            Relay(
                session,
                sensor,
                self.streams[at],
                self.streams[:at] + self.streams[at + 1 :],
                sightings=self.sightings,
            )
            for at, sensor in enumerate(self.compared)
        )
        self.unit_slips: Final = tuple(UnitSlip(session, sensor) for sensor in self.compared)
        course = ReferenceCourse(session)
        self.deviations: Final = tuple(
            Deviation(session, test, DelayEstimator(session, test, course=course))
            for test in session.tests
        )
        Deviations(session, self.deviations)
        self.on_cadence: Final = tuple(
            OnCadence(session, deviation.watched, deviation) for deviation in self.deviations
        )
        slip = self.unit_slips[self.compared.index(session.reference)]
        # Not a lambda: a copy of the board must listen to the copy of the rule.
        self.loose: Final = LooseReference(
            session, session.reference, unit=partial(getattr, slip, "factor")
        )
