"""Records of many sessions to a verdict over them.

``read_study`` reads folders of captures and gives all numbers of the study::

    from analysis.study import read_study

    study = read_study("captures")
    print(study.activity("rowing ergometer").sensor("Sorrel").every.means["mae_bpm"])
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analysis.study.study import Study

__all__ = ["read_study"]


def read_study(
    *places: Path | str,
    pool: Collection[str] = (),
    sort: str = "mae",
    control: str = "",
    workers: int | None = None,
    scheduler: str = "",
    told: Callable[[int, int], None] | None = None,
) -> Study:
    """The study of these folders and captures, each session's record from the cache where it fits.

    ``pool``: of ``"tolerance"``, ``"reference"``, ``"imported"`` and ``"unclean"``, what to pool
    although it differs; ``sort``: the statistic of the rankings, a name of
    :data:`analysis.study.statistic.SORTABLE`; ``control``: label of a sensor that was worn in all
    sessions, to which comparisons on different sessions are given as well; ``workers``: processes,
    by default one per core; ``scheduler``: address of a Dask cluster that computes instead, such as
    ``"tcp://127.0.0.1:8786"`` (extra ``cluster``); ``told``: called with how many of how many files
    are done.

    Captures that cannot be read are listed in :attr:`~analysis.study.study.Study.left_out`, and
    what does not claim to be one in :attr:`~analysis.study.study.Study.passed_over`.  Raises
    :class:`replay.errors.SidebeatError` for a place that does not exist, and ``ValueError`` for an
    unknown ``pool`` or ``sort``.
    """
    from analysis.study.folders import find_captures  # noqa: PLC0415 - loads scipy
    from analysis.study.reading import read_rows  # noqa: PLC0415
    from analysis.study.selection import Pool  # noqa: PLC0415
    from analysis.study.statistic import SORTABLE  # noqa: PLC0415
    from analysis.study.study import study_of  # noqa: PLC0415

    pools = frozenset(Pool(name) for name in pool)
    if sort not in SORTABLE:
        raise ValueError(f"{sort!r} is none of " + ", ".join(SORTABLE))
    found = find_captures(map(Path, places))
    reading = read_rows(found.files, workers=workers, scheduler=scheduler, told=told)
    return study_of(
        reading.rows,
        reading.left_out,
        passed_over=map(str, found.others),
        pool=pools,
        sort=sort,
        control=control,
    )
