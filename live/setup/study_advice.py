"""What the study of a plan asks of the session that is about to begin: said before it in a
terminal, and offered while it is set up.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from live.setup.plan_builder import PlanBuilder
from replay.errors import SidebeatError
from replay.plan import Plan

if TYPE_CHECKING:
    from analysis.study.advice import Advice
    from analysis.study.study import Study
    from analysis.study.study_plan import StudyPlan

STUDY_FILE: Final = "study.toml"
"""A study's plan of this name among the captures counts while a session is set up, whether or not
the session's plan names it.
"""


def study_advice(plan: Plan, folder: Path) -> Iterator[str]:
    """Lines about a session with this plan, whose capture comes to lie in ``folder`` beside the
    study's others.

    Raises :class:`~replay.errors.SidebeatError` if the study's own plan cannot be read.
    """
    from analysis.report.study.advice_words import advice_lines  # noqa: PLC0415 - loads statistics
    from analysis.study.advice import advice_for  # noqa: PLC0415 - as above

    kept = _read(Path(plan.study), folder)
    tests = [plan.sensor(number) for number in plan.tests]
    yield from advice_lines(
        advice_for(plan.activity, tests, kept.study, kept.plan, unread=kept.unread)
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Kept:
    study: Study
    plan: StudyPlan
    unread: int


def _read(study_plan: Path, folder: Path) -> _Kept:
    from analysis.study.advice import kept_study  # noqa: PLC0415 - loads statistics
    from analysis.study.study_plan import load_study_plan  # noqa: PLC0415 - as above

    plan = load_study_plan(study_plan)
    study, unread = kept_study(folder)
    return _Kept(study, plan, unread)


class StudyReader:
    """Reads the study in a thread while a session is set up.  ``problem``: why it cannot be read,
    a sentence, or empty.
    """

    def __init__(self) -> None:
        self.problem = ""
        self._of: tuple[str, Path | None] = ("", None)
        self._kept: _Kept | None = None
        self._thread: threading.Thread | None = None
        self._result: _Kept | str | None = None

    def poll(self, study: str, folder: Path | None) -> bool:
        """Read anew where the study or the folder for the capture is another; whether something
        new is known now.
        """
        if (study, folder) != self._of and self._thread is None:
            self._of = (study, folder)
            known, self._kept, self.problem = self._kept is not None, None, ""
            path = _study_file(study, folder)
            if path is None or folder is None:
                return known
            self._thread = threading.Thread(
                target=self._work, args=(path, folder), name="study of the plan", daemon=True
            )
            self._thread.start()
            return known
        if self._thread is None or self._thread.is_alive():
            return False
        self._thread, result, self._result = None, self._result, None
        if isinstance(result, str):
            self.problem = result
        else:
            self._kept = result
        return True

    def _work(self, path: Path, folder: Path) -> None:
        try:
            self._result = _read(path, folder)
        except SidebeatError as error:
            self._result = str(error)
        except Exception as error:  # what the study asks for must not keep anybody from recording
            self._result = f"{path}: the study cannot be read: {type(error).__name__}: {error}"

    def settle(self) -> None:
        """Wait for what is being read; for tests and pictures."""
        if self._thread is not None:
            self._thread.join()

    def advice(self, builder: PlanBuilder, firmware: Mapping[str, str]) -> Advice | None:
        """What it asks of a session as it is set up now; ``None`` without a study.

        ``firmware``: by label, as the sensors themselves have told it.
        """
        if self._kept is None:
            return None
        from analysis.study.advice import advice_for  # noqa: PLC0415 - loaded by then

        kept = self._kept
        tests = [one for one in builder.sensors if one.role == "test"]
        return advice_for(
            builder.activity, tests, kept.study, kept.plan, firmware=firmware, unread=kept.unread
        )


def _study_file(study: str, folder: Path | None) -> Path | None:
    if study:
        return Path(study)
    if folder is not None and (folder / STUDY_FILE).is_file():
        return folder / STUDY_FILE
    return None
