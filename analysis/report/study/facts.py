"""A study as plain values by name: what ``--json`` prints, and the only place that makes it.

Keys are words with their units, ``…_interval`` beside what has one.
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.report.facts import Facts
from analysis.report.study.comparison_words import claim_sentence, comparison_sentence
from analysis.report.study.words import sensor_sentences, verdict_of
from analysis.report.words import started_text
from analysis.statistics.estimate import Estimate, Interval
from analysis.study.comparison import Comparison
from analysis.study.failures import Failures
from analysis.study.published import Published
from analysis.study.ranking import Ranking
from analysis.study.row import SessionRow
from analysis.study.sensors import Means, SensorResult
from analysis.study.statistic import STATISTICS
from analysis.study.study import Activity, Study


def study_facts(study: Study) -> Facts:
    """All numbers of a study."""
    counted = {(row.path, one.name) for one in study.activities for row in one.sessions}
    paths = {path for path, _ in counted}
    return {
        "invented": study.invented,
        "sessions": [_session(row, counts=row.path in paths) for row in study.rows],
        "activities": [
            {
                "activity": one.name,
                "sessions": len(one.sessions),
                "wearers": sorted({row.wearer for row in one.sessions}),
                "verdict": verdict_of(one).sentences,
            }
            for one in study.activities
        ],
        "sensors": [_sensor(each) for one in study.activities for each in one.sensors],
        "comparisons": [_comparison(each) for one in study.activities for each in one.comparisons],
        "rankings": [_ranking(one.ranking) for one in study.activities],
        "placements": [_placements(one) for one in study.activities],
        "set_apart": [
            {"file": one.path, "sensor": one.sensor or None, "reason": one.reason}
            for one in study.apart
        ],
        "left_out": [{"file": one.path, "reason": one.reason} for one in study.left_out],
        "passed_over": list(study.passed_over),
    }


def published_facts(published: Sequence[Published]) -> list[Facts]:
    """Figures without data, which stand apart."""
    return [
        {
            "sensor": one.sensor,
            "firmware": one.firmware,
            "activity": one.activity,
            "statistic": one.statistic,
            "value": one.value,
            "sessions": one.sessions,
            "wearers": one.wearers,
            "source": one.source,
        }
        for one in published
    ]


def _session(row: SessionRow, *, counts: bool) -> Facts:
    return {
        "file": row.path,
        "uuid": row.uuid,
        "started_utc": started_text(row.started_utc_ns),
        "wearer": row.wearer,
        "activity": row.activity,
        "invented": row.invented,
        "clean": row.clean,
        "duration_s": row.duration_s,
        "tolerance_bpm": row.tolerance_bpm,
        "tolerance_percent": row.tolerance_percent,
        "reference": row.reference,
        "reference_usable_percent": row.reference_usable_percent,
        "reference_range_bpm": row.range_bpm,
        "counts": counts,
        "test_sensors": [
            {
                "label": one.label,
                "placement": one.placement,
                "firmware": one.firmware,
                "pairs": one.pairs,
                "lost_the_heart": one.lost_the_heart,
                "lost_s": one.lost_s,
                "late_start_s": one.late_start_s,
                **{statistic.key: statistic.value(one) for statistic in STATISTICS},
            }
            for one in row.sensors
        ],
    }


def _sensor(one: SensorResult) -> Facts:
    return {
        "sensor": one.name,
        "label": one.variant.label,
        "firmware": one.variant.firmware,
        "model": one.variant.model,
        "activity": one.activity,
        "sessions": one.every.sessions,
        "wearers": one.wearers,
        "unit": "wearer" if one.about_people else "session",
        **_means(one.every),
        "without_failures": one.without_failures
        and {"sessions": one.without_failures.sessions, **_means(one.without_failures)},
        "failures": _failures(one.failures),
        "efforts": {
            "judged": one.judged,
            "followed": one.followed,
            "late": one.late,
            "blunted": one.blunted,
            "missed": one.missed,
        },
        "verdict": sensor_sentences(one),
    }


def _means(means: Means) -> Facts:
    found: Facts = {}
    for statistic in STATISTICS:
        found |= _estimate(statistic.key, means.of(statistic))
    for name, estimate in (
        ("sd_bpm", means.sd),
        ("loa_low_bpm", means.loa_low),
        ("loa_high_bpm", means.loa_high),
    ):
        found |= _estimate(name, estimate)
    cautions = [estimate.caution for estimate in (*means.means.values(), means.loa_low)]
    found["cautions"] = [caution for caution in dict.fromkeys(cautions) if caution]
    return found


def _failures(failures: Failures) -> Facts:
    return {
        "failed_sessions": failures.count,
        "of_sessions": failures.sessions,
        "rate_percent": 100 * failures.count / failures.sessions if failures.sessions else None,
        "rate_percent_interval": _percent(failures.interval),
        "rate_percent_at_most": None if failures.at_most is None else 100 * failures.at_most,
    }


def _comparison(one: Comparison) -> Facts:
    return {
        "activity": one.activity,
        "of": one.kind.value,
        "statistic": one.statistic,
        "closer": one.closer,
        "other": one.other,
        "paired": one.paired,
        "sessions": list(one.sessions),
        "sessions_neither_lost": list(one.steady_sessions),
        "wearers": one.wearers,
        "unit": "wearer" if one.about_people else "session",
        **_estimate("mae_difference_bpm", one.difference),
        **_estimate("mae_difference_bpm_neither_lost", one.steady_difference),
        **_estimate("mae_ratio", one.ratio),
        "control": one.control or None,
        **_estimate(
            "mae_difference_bpm_relative_to_control", one.relative or Estimate.undefined("")
        ),
        "closer_in": one.closer_in,
        "p_adjusted": one.p,
        "failures": [_failures(each) for each in one.failures],
        "standing": one.standing.value,
        "separated": one.differs,
        "confounded": one.confounded,
        "caution": one.caution,
        "needed": one.needed and {"more_at_least": one.needed.low, "more_at_most": one.needed.high},
        "claim": claim_sentence(one),
        "sentence": comparison_sentence(one),
    }


def _ranking(one: Ranking) -> Facts:
    return {
        "activity": one.activity,
        "sorted_by": one.statistic,
        "claimed": one.is_claimed,
        "places": [
            {
                "sensor": place.name,
                "sessions": place.sessions,
                "failed_sessions": place.failures,
                **_estimate("mean", place.mean),
            }
            for place in one.places
        ],
        "not_separated": [list(group) for group in one.groups],
    }


def _placements(one: Activity) -> Facts:
    return {
        "activity": one.name,
        "worn": [
            {
                "sensor": worn.name,
                "places": [{"placement": place, "sessions": count} for place, count in worn.places],
            }
            for worn in one.worn
        ],
        "opposite_sides": [
            {
                "first": pairing.first,
                "second": pairing.second,
                "part": pairing.part,
                "first_on_left": pairing.first_left,
                "first_on_right": pairing.first_right,
                **_estimate("sensor_effect_bpm", pairing.crossover.sensor),
                **_estimate("left_effect_bpm", pairing.crossover.left),
            }
            for pairing in one.pairings
        ],
        "wearing_plan": [
            {
                "wearer": line.wearer,
                "placements": [
                    {"sensor": label, "placement": place} for label, place in line.placements
                ],
            }
            for line in one.plan
        ],
    }


def _estimate(name: str, estimate: Estimate) -> Facts:
    return {name: estimate.value, f"{name}_interval": _ends(estimate.interval)}


def _ends(interval: Interval | None) -> list[float] | None:
    return None if interval is None else list(interval)


def _percent(interval: Interval | None) -> list[float] | None:
    return None if interval is None else [100 * end for end in interval]
