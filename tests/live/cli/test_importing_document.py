"""docs/importing.md: its example is run on the files that it describes, and is what is printed."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import numpy as np

from live import __main__ as entry
from tests.standins.activity_files import START_S, heart_bpm, iso

DOCUMENT = Path(__file__).resolve().parents[3] / "docs" / "importing.md"
SECONDS = 1800


def write_files(folder):
    """The files of the example: a strap, a watch 37 s ahead with and without cadence, a log."""
    cadence = 150 + 40 * np.repeat(np.random.default_rng(7).uniform(0, 1, 100), 30)
    strap, watch, log = ["time,hr,cadence"], ["Zeit;Puls;Trittfrequenz"], []
    log.append("device,time_s,hr_bpm,rr_ms,contact")
    for second in range(SECONDS):
        bpm = heart_bpm(second)
        strap.append(f"{iso(START_S + second)},{bpm},{cadence[second]:.0f}")
        log.append(f"Yarrow,{second + 0.1:.1f},{bpm},{60000 / bpm:.0f},1")
        log.append(f"Sorrel,{second + 0.6:.1f},{heart_bpm(second - 5)},,")
        if second >= 300:
            shown = heart_bpm(second) if 900 < second < 1100 else min(heart_bpm(second), 112)
            watch.append(f"{iso(START_S + second + 37)};{shown};{cadence[second] / 2:.1f}")
    (folder / "strap.csv").write_text("\n".join(strap) + "\n")
    (folder / "watch.csv").write_text("\n".join(watch) + "\n")
    bare = [line.rpartition(";")[0] for line in watch]
    (folder / "bare.csv").write_text("\n".join(bare) + "\n")
    (folder / "bench.csv").write_text("\n".join(log) + "\n")


def test_the_example_is_what_is_printed(tmp_path, monkeypatch, capsys):
    """Each command of the document is run in turn; what it prints stands below it."""
    write_files(tmp_path)
    monkeypatch.chdir(tmp_path)
    blocks = re.findall(r"```console\n(.*?)```", DOCUMENT.read_text(encoding="utf-8"), re.DOTALL)
    commands = 0
    for block in blocks:
        for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            line, _, printed = part.partition("\n")
            words = shlex.split(line)
            assert words[0] == "sidebeat"
            status = entry.main(words[1:])
            told = capsys.readouterr()
            assert status == (2 if told.err else 0)
            assert (told.out + told.err).strip() == printed.strip()
            commands += 1
    assert commands >= 4
