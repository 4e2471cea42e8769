"""Where a player stands in a recording, and from what length on places are kept of one.

Apart from what keeps them, which the view of a live session has no time to load.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from replay.channels import DECODERS
from replay.event import Event

WORTH_IT_EVENTS: Final = 50_000
"""Below this a board gets anywhere in a second or two."""

_NOTIFICATIONS: Final = frozenset(DECODERS)


class Place(NamedTuple):
    """Where a player stands after some events.

    ``taken``: how many; ``t_ns``: the time of the newest, which ``same`` of them have;
    ``notifications``: how many were readings, and ``newest_ns`` the time of the newest of these.
    """

    taken: int = 0
    t_ns: int = 0
    same: int = 0
    notifications: int = 0
    newest_ns: int = 0

    def after(self, event: Event) -> Place:
        """The place one event later."""
        t_ns = event.t_ns
        same = self.same + 1 if self.taken and t_ns == self.t_ns else 1
        if event.channel in _NOTIFICATIONS:
            return Place(self.taken + 1, t_ns, same, self.notifications + 1, t_ns)
        return Place(self.taken + 1, t_ns, same, self.notifications, self.newest_ns)
