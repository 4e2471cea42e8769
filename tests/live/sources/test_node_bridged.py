"""Nodes at one broker and the capture at another, which pass topics on to each other (a bridge)."""

from __future__ import annotations

import asyncio
from pathlib import Path

from replay.event import HEART_RATE, LINK
from tests.standins.broker import running_broker
from tests.standins.nodes import Listener, Node, fingerprint, node_plan, until


def test_what_a_node_hears_crosses_a_bridge_once_and_in_order(tmp_path: Path) -> None:
    """Two mosquittos, the second bridged to the first: state, questions, answers and events pass;
    the bridge's far broker restarts, and all is there afterwards.
    """

    async def check(far, near) -> None:
        node, listener = Node(far.port), Listener(node_plan(near.port))
        async with node.running(), listener.running():
            await until(lambda: listener.told(LINK)[-1:] == [b"streaming"])
            since = len(node.put)
            for number in range(60):
                if number == 20:
                    far.kill()
                if number == 40:
                    far.start()
                node.hear()
                await asyncio.sleep(0.03)
            await until(lambda: len(listener.heard) == 60)
        put = [(e.t_ns, e.payload) for e in node.put[since:] if e.channel == HEART_RATE]
        heard = [(e.foreign.stamp_ns, e.payload) for e in listener.heard]
        assert fingerprint(heard) == fingerprint(put)

    (tmp_path / "far").mkdir()
    (tmp_path / "near").mkdir()
    with running_broker(tmp_path / "far") as far:
        bridge = (
            "allow_anonymous true\n"
            "connection far\n"
            f"address 127.0.0.1:{far.port}\n"
            "topic sidebeat/nodes/# both 0\n"
            "restart_timeout 1\n"
        )
        with (
            running_broker(tmp_path / "near", bridge) as near,
            asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner,
        ):
            runner.run(check(far, near))
