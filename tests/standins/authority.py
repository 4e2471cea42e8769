"""A certificate authority of a test's own."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

NEEDS = ("trustme",)  # imported where it is used


class Authority:
    """A certificate authority with a broker's certificate and one for this computer, as files.

    ``not_after``: when the broker's ends, if it is not long from now.
    """

    def __init__(self, folder: Path, *, not_after: datetime | None = None) -> None:
        import trustme

        folder.mkdir()
        authority = trustme.CA()
        server = authority.issue_cert("localhost", not_after=not_after)
        own = authority.issue_cert("tester@bench.invalid", common_name="bench")
        self.ca, self.cert, self.key = folder / "ca.pem", folder / "c.pem", folder / "k.pem"
        self.own = folder / "own.pem"
        authority.cert_pem.write_to_path(str(self.ca))
        server.cert_chain_pems[0].write_to_path(str(self.cert))
        server.private_key_pem.write_to_path(str(self.key))
        own.private_key_and_cert_chain_pem.write_to_path(str(self.own))

    def settings(self, *more: str) -> str:
        """Lines of mosquitto's configuration for a listener with TLS."""
        return "\n".join(
            [
                "allow_anonymous true",
                f"cafile {self.ca}",
                f"certfile {self.cert}",
                f"keyfile {self.key}",
                *more,
            ]
        )
