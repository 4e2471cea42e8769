"""The benchmark of the window itself."""

from __future__ import annotations

from benchmarks.bench_window import run


def test_a_small_run_measures_both_ways_without_a_fault():
    """A run of a minute draws our way and the naive way, and nothing goes wrong in either."""
    found = run(hours=1 / 60, sensors=3, count=4)
    assert found["faults"] == 0
    assert found["readings"] > 400
    for name in ("follow_p95_ms", "all_p95_ms", "naive_median_ms", "naive_with_scatter_median_ms"):
        assert found[name] > 0
