"""How a study was done, as a paragraph that can be pasted, with its citations."""

from __future__ import annotations

from typing import Final

from analysis.study.study import Study
from analysis.study.thresholds import (
    DIFFERS,
    LEAST_PAIRS,
    LEAST_REFERENCE_PERCENT,
    LOST_PERCENT,
    LOST_S,
    PEOPLE,
    RANK,
)

REFERENCES: Final = (
    "Bland JM, Altman DG. Agreement between methods of measurement with multiple observations per "
    "individual. J Biopharm Stat 2007;17:571–582.",
    "Graybill FA, Wang CM. Confidence intervals on nonnegative linear combinations of variances. "
    "J Am Stat Assoc 1980;75:869–873.",
    "Zou GY. Confidence interval estimation for the Bland–Altman limits of agreement with multiple "
    "observations per individual. Stat Methods Med Res 2013;22:630–642.",
    "Clopper CJ, Pearson ES. The use of confidence or fiducial limits illustrated in the case of "
    "the binomial. Biometrika 1934;26:404–413.",
    "Westfall PH, Young SS. Resampling-based multiple testing. Wiley, 1993.",
    "Hills M, Armitage P. The two-period cross-over clinical trial. Br J Clin Pharmacol "
    "1979;8:7–20.",
)


def methods_paragraph(study: Study, software: str) -> str:
    """What was done to these sessions.  ``software``: name and version."""
    counted = [row for one in study.activities for row in one.sessions]
    wearers = len({row.wearer for row in counted})
    about_people = any(each.about_people for one in study.activities for each in one.sensors)
    unit = (
        f"From {PEOPLE} wearers on wearers were the units"
        if about_people
        else "With this number of wearers sessions were the units, and all statements hold for "
        "these wearers"
    )
    return (
        f"{len(counted)} sessions of {wearers} wearers were compared second by second with the "
        f"reference ({software}). Sessions were left out only for the reference's own signals "
        f"(usable in less than {LEAST_REFERENCE_PERCENT:.0f} % of the session), blind to the test "
        f"sensors; a sensor's session needed {LEAST_PAIRS} pairs. {unit}. Means over units have t "
        "intervals, sizes of errors on the log and shares on the logit scale with a jackknife, "
        "correlations on Fisher's z scale. "
        "Limits of agreement are over wearer, session and second, with modified large-sample "
        "intervals for the variance and the number of independent pairs of each session in place "
        "of the seconds. Sessions in which a sensor lost the heart (stretches of 10 s and more, "
        f"over 20 bpm off, lasting {LOST_S} s and {LOST_PERCENT:.0f} % of the compared seconds in "
        "all) were counted, with exact binomial intervals, and means are given with and without "
        "them. That two sensors differ was claimed only of sessions in which neither lost the "
        f"heart, with at least {DIFFERS} units, when the t interval of the difference in mean "
        "absolute error excluded 0 and step-down max-T sign flips of the units (exchanged labels "
        "with Holm's adjustment where the sessions differed) gave p ≤ .05 for all comparisons of "
        f"the activity together. Rankings were claimed from {RANK} sessions on."
    )
