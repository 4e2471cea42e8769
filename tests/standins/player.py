"""A program that stands for a player of sounds: it notes what it is given, and does as told.

Written as a script so that it is started as a real player is.
"""

from __future__ import annotations

import stat
import sys
from pathlib import Path


def player_at(path: Path, does: str) -> Path:
    """An executable that appends its file's name to ``heard`` beside it, then does this."""
    path.write_text(
        f"#!{sys.executable}\n"
        "import sys, time\n"
        "from pathlib import Path\n"
        "heard = Path(__file__).with_name('heard')\n"
        "assert Path(sys.argv[1]).read_bytes()[:4] == b'RIFF'\n"
        "with heard.open('a') as file:\n"
        f"    file.write(Path(__file__).name + ' ' + Path(sys.argv[1]).name + '\\n')\n"
        f"{does}\n"
    )
    path.chmod(path.stat().st_mode | stat.S_IXUSR)
    return path


def heard_by(folder: Path) -> list[str]:
    """What the players of this folder were given, in order: ``player file`` each."""
    heard = folder / "heard"
    return heard.read_text().splitlines() if heard.exists() else []
