"""Prints, after the table, ratios to a reference of the same run and growth exponents.

A benchmark of a stage says in ``benchmark.extra_info`` which ``stage`` it times and for how many
contours ``n``; the rest is done here. Seconds depend on the machine; ratios far less.
"""

from __future__ import annotations

import math
from collections import defaultdict

import pytest

REFERENCE = "test_reference"


def growth_exponent(times: dict[int, float]) -> float:
    """Return the least-squares slope of log time over log size."""
    xs, ys = [math.log(n) for n in times], [math.log(t) for t in times.values()]
    x_mean, y_mean = sum(xs) / len(xs), sum(ys) / len(ys)
    above = sum((x - x_mean) * (y - y_mean) for x, y in zip(xs, ys, strict=True))
    return above / sum((x - x_mean) ** 2 for x in xs)


def medians(benchmarks) -> tuple[float | None, dict[str, dict[int, float]]]:
    """Return the reference's median and, per stage and size, the median [s]."""
    reference, stages = None, defaultdict(dict)
    for bench in benchmarks:
        if bench.has_error or not bench.stats.rounds:
            continue
        if bench.name.startswith(REFERENCE):
            reference = bench.stats.median
        elif "stage" in bench.extra_info:
            stages[bench.extra_info["stage"]][int(bench.extra_info["n"])] = bench.stats.median
    return reference, stages


@pytest.hookimpl(trylast=True)
def pytest_terminal_summary(terminalreporter, config):
    session = getattr(config, "_benchmarksession", None)
    reference, stages = medians(session.benchmarks if session else [])
    if not stages:
        return
    write = terminalreporter.write_line
    terminalreporter.section("per stage")
    write(f"{'stage':<24}{'contours':>10}{'median [s]':>14}{'ratio':>12}")
    for stage, times in stages.items():
        for n, seconds in sorted(times.items()):
            ratio = f"{seconds / reference:12.3f}" if reference else f"{'no reference':>12}"
            write(f"{stage:<24}{n:>10}{seconds:>14.5f}{ratio}")
        if len(times) > 1:
            write(f"{stage:<24}growth exponent {growth_exponent(times):.3f}")
