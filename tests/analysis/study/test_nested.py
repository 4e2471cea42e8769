"""Limits over wearers, sessions and seconds, against published values and a mixed model."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.statistics.replicates import Group, limits_varying
from analysis.study.nested import components_of, limits_over, session_components

NEEDS = ("pandas", "statsmodels")  # imported where one test needs them

# First four subjects of the cardiac output data (Bowling et al. 1993, in Bland & Altman, Stat
# Methods Med Res 1999;8:135–160, Table 4), as altered in the worked example of Zou, Stat Methods
# Med Res 2013;22:630–642; limits and intervals as the unit tests of a public R package give them.
ZOU = (
    (7.83 - 6.57, 7.42 - 5.62, 7.89 - 6.90, 7.12 - 6.57, 7.88 - 6.35),
    (6.16 - 4.06, 7.26 - 4.29, 6.71 - 4.26, 6.54 - 4.09),
    (4.75 - 4.71, 5.24 - 5.50, 4.86 - 5.08, 4.78 - 5.02, 6.05 - 6.01, 5.42 - 5.67),
    (4.21 - 4.14, 3.61 - 4.20, 3.72 - 4.61, 3.87 - 4.68, 3.92 - 5.04),
)


def balanced(seed, wearers=12, sessions=3, seconds=4, sds=(2.0, 1.5, 3.0)):
    random = np.random.default_rng(seed)
    of_wearer = random.normal(1, sds[0], wearers)[:, None, None]
    of_session = random.normal(0, sds[1], (wearers, sessions))[:, :, None]
    return of_wearer + of_session + random.normal(0, sds[2], (wearers, sessions, seconds))


def groups(data):
    return [[Group.of(session) for session in wearer] for wearer in data]


def test_one_wearer_gives_the_published_limits_with_t_for_the_bias():
    """Variances and limits are those of Zou's example; the bias has t instead of his z."""
    sessions = [Group.of(np.array(values)) for values in ZOU]
    found = limits_over(sessions, ["W1"] * 4)
    assert found is not None
    assert found.bias.value == pytest.approx(0.7255, abs=0.001)
    assert (found.low.value, found.high.value) == pytest.approx((-2.14, 3.59), abs=0.01)
    assert found.sd.interval == pytest.approx(limits_varying(sessions).sd.interval, abs=0.01)
    by_z = limits_varying(sessions)
    assert by_z.low.interval == pytest.approx((-9.83, -0.33), abs=0.01)
    assert found.low.interval[0] < by_z.low.interval[0]
    assert found.high.interval[1] > by_z.high.interval[1]


def test_balanced_components_are_those_of_a_mixed_model():
    """On balanced data the components and the mean are REML's (statsmodels MixedLM)."""
    import pandas as pd
    import statsmodels.formula.api as smf

    data = balanced(4)
    found = components_of(groups(data))
    wearer, session, _ = (axis.ravel() for axis in np.indices(data.shape))
    table = pd.DataFrame({"d": data.ravel(), "wearer": wearer, "session": session})
    model = smf.mixedlm(
        "d ~ 1", table, groups="wearer", re_formula="1", vc_formula={"session": "0 + C(session)"}
    )
    fit = model.fit(reml=True)
    assert found.mean == pytest.approx(float(fit.fe_params.iloc[0]), abs=1e-6)
    assert found.wearers == pytest.approx(float(fit.cov_re.iloc[0, 0]), rel=0.01)
    assert found.sessions == pytest.approx(float(fit.vcomp[0]), rel=0.01)
    assert found.seconds == pytest.approx(float(fit.scale), rel=0.01)
    error = float(np.sqrt(found.mean_squares[0].variance / len(data)))
    assert error == pytest.approx(float(fit.bse_fe.iloc[0]), rel=0.01)


def test_the_mean_squares_add_up_to_the_variance_of_a_new_pair():
    """Balanced or not, the weights of the mean squares give the sum of the three components."""
    for data in (groups(balanced(1)), [*groups(balanced(2))[:6], groups(balanced(3))[0][:1]]):
        found = components_of(data)
        assert found.wearers is not None
        total = found.wearers + found.sessions + found.seconds
        assert found.total == pytest.approx(total)
        assert all(one.weight >= 0 for one in found.mean_squares)


def test_sessions_of_unlike_scatter_are_worth_few_degrees_of_freedom():
    """The mean variance of rough and calm sessions is known from the sessions, not the seconds."""
    alike = session_components([Group(0.1 * n, 16.0, 40, 39) for n in range(6)])
    unlike = session_components([Group(0.1 * n, 4.0 * 3.0**n, 40, 39) for n in range(6)])
    assert alike.mean_squares[1].degrees == 6 * 39
    assert 1 <= unlike.mean_squares[1].degrees < 6


def test_without_sessions_within_wearers_nothing_is_nested():
    """Six wearers of one session each are one stage; fewer wearers never are two."""
    single = [wearer[0] for wearer in groups(balanced(5, wearers=6))]
    names = [f"W{n}" for n in range(6)]
    found = limits_over(single, names)
    assert found is not None
    assert found.sd.value == pytest.approx(session_components(single).total ** 0.5)
    assert limits_over(single[:1], names[:1]) is None
    with pytest.raises(ValueError, match="two wearers"):
        components_of([single])
    with pytest.raises(ValueError, match="two sessions"):
        session_components(single[:1])


def test_a_session_of_unknown_worth_counts_as_one_pair():
    """Where a session is worth one pair, all its scatter is in its mean and none is added."""
    found = session_components([Group(mean, 9.0, 1.0, 1.0) for mean in (-1.0, 0.0, 1.0)])
    assert found.total == pytest.approx(1.0)
    assert found.mean_squares[1].weight == 0
