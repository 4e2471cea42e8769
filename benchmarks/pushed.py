"""A feed for benchmarks of the window, and a plan for any number of sensors."""

from __future__ import annotations

from live.protocol.feed import Message
from replay.plan import Plan, PlannedSensor

RATE_HZ = 4


class Pushed:
    """A feed that hands over what was pushed into it."""

    title = "benchmark"
    started_utc_ns = 0
    is_live = False
    silent_s = 0.0

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.waiting: list[Message] = []

    def poll(self) -> list[Message]:
        """Everything pushed since the last call."""
        messages, self.waiting = self.waiting, []
        return messages

    def send(self, action: str, **values: str | int) -> int:
        """Nothing listens."""
        del action, values
        return 0

    def close(self) -> None:
        """Nothing to let go of."""


def plan_of(sensors: int) -> Plan:
    """A reference and test sensors."""
    rows = [PlannedSensor(label="Yarrow", role="reference", placement="chest", address="00")]
    rows += [
        PlannedSensor(label=f"Test {n}", role="test", placement="left wrist", address=f"{n:02}")
        for n in range(1, sensors)
    ]
    return Plan(wearer="W1", activity="benchmark", sensors=tuple(rows), invented=True)
