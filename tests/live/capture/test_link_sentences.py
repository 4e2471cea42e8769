"""Where no view is open, the newest sentence about each link stands on stderr."""

from __future__ import annotations

import socket

from live.capture.link_sentences import LinkSentences
from replay.broker import Broker
from replay.plan import Plan, PlannedSensor
from tests.standins.running import NOBODY_HEARD, running_capture

AWAY = "The broker at gym:1883 cannot be reached."


def test_a_sentence_is_told_once_for_all_whom_it_concerns() -> None:
    """The same sentence of several links is one line; again only when it becomes another one."""
    told = LinkSentences(["Yarrow", "Sorrel", "Tansy"])
    assert list(told.news({})) == []
    assert list(told.news({1: AWAY, 2: AWAY})) == [f"Yarrow, Sorrel: {AWAY}"]
    assert list(told.news({1: AWAY, 2: AWAY})) == []
    assert list(told.news({1: AWAY, 2: "Waiting.", 3: AWAY})) == [
        "Sorrel: Waiting.",
        f"Tansy: {AWAY}",
    ]


def test_numbers_alone_make_no_new_sentence() -> None:
    """Signal strengths and seconds that change are not told anew."""
    told = LinkSentences(["Yarrow"])
    assert list(told.news({1: "Seen at -81 dBm, 3 s ago."})) == [
        "Yarrow: Seen at -81 dBm, 3 s ago."
    ]
    assert list(told.news({1: "Seen at -92 dBm, 11 s ago."})) == []


def test_a_link_that_is_up_again_is_told_and_may_be_told_of_anew() -> None:
    """What was told of is said to be linked, once; the same trouble afterwards is news."""
    told = LinkSentences(["Yarrow", "Sorrel"])
    list(told.news({1: AWAY, 2: AWAY}))
    assert list(told.news({2: AWAY})) == ["Yarrow: linked."]
    assert list(told.news({2: AWAY})) == []
    assert list(told.news({1: AWAY, 2: AWAY})) == [f"Yarrow: {AWAY}"]


def test_without_a_view_the_broker_that_is_away_stands_on_stderr(tmp_path) -> None:
    """``--view none``: one line while it runs, not one for each sensor, and stdout stays clean."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    plan = Plan(
        wearer="W1",
        activity="rowing ergometer",
        sensors=tuple(
            PlannedSensor(label=label, role=role, source="mqtt", topic=f"gym/{label}")
            for label, role in (("Yarrow", "reference"), ("Sorrel", "test"))
        ),
        broker=Broker(host="127.0.0.1", port=port),
    )
    with running_capture(tmp_path, plan, "--view", "none", "--minutes", "0.025") as capture:
        assert capture.wait() == NOBODY_HEARD
    first, last = capture.stderr.splitlines()
    assert first.startswith(f"Yarrow, Sorrel: The broker at 127.0.0.1:{port} cannot be reached: ")
    assert last.startswith("sidebeat: none of the 2 planned sensors was ever heard.")
    assert "cannot be reached" not in capture.stdout
