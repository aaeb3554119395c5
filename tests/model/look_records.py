"""Strategies for records of marks, pictures, fits and sheets."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from hypothesis import strategies as st

from kerfwright.model.fit import SheetFit
from kerfwright.model.hold import HoldReport
from kerfwright.model.marks import FoundMarks, MarkLayout, MarkMatch, Photo
from kerfwright.model.prior import PrintPrior
from kerfwright.model.run import RELEASE_REASONS
from kerfwright.model.verdict import ErrorBudget, PlacedLines, Verdict
from model.samples import FIT, FOUND, HOLD, LINES, MARKS, MATCH, PHOTO, PRIOR

Strategy = st.SearchStrategy
places = st.floats(-2e3, 2e3)
sizes = st.floats(0.01, 50.0)


def some_floats(rows: int, columns: int) -> Strategy:
    count = rows * columns
    return st.lists(places, min_size=count, max_size=count).map(
        lambda v: np.array(v).reshape(rows, columns)
    )


def varied(sample: object, **given: Strategy) -> Strategy:
    """Draw the given fields of a sample whose fields hang together."""
    kind = type(sample)
    rest = {n: st.just(getattr(sample, n)) for n in sample.__dataclass_fields__ if n not in given}
    return st.builds(kind, **rest, **given)


def covariances(count: int) -> Strategy:
    factors = st.lists(sizes, min_size=2 * count, max_size=2 * count)
    return factors.map(
        lambda v: np.array([np.diag(pair) for pair in np.array(v).reshape(count, 2)])
    )


def releases(build: Callable) -> Strategy:
    initials = st.text(st.characters(categories=["Lu", "Ll"]), min_size=1, max_size=8)
    return build(reason=st.sampled_from(RELEASE_REASONS), initials=initials)


STRATEGIES = {
    MarkLayout: lambda: varied(
        MARKS, xy=some_floats(4, 2), diameter_mm=sizes, quiet_mm=sizes, worst_sd_mm=sizes
    ),
    Photo: lambda: varied(
        PHOTO,
        camera_xy_mm=st.tuples(places, places).map(np.array),
        px_per_mm=sizes,
        turn_rad=st.floats(-4, 4),
        size_px=st.tuples(st.integers(1, 9000), st.integers(1, 9000)),
    ),
    FoundMarks: lambda: varied(FOUND, xy=some_floats(2, 2), cov=covariances(2)),
    MarkMatch: lambda: varied(
        MATCH, table_from_sheet=some_floats(2, 3), is_ambiguous=st.booleans()
    ),
    PrintPrior: lambda: varied(PRIOR, growth_sd=st.floats(0, 1), mark_sd_mm=sizes),
    SheetFit: lambda: varied(FIT, measured=some_floats(4, 2), residual=some_floats(4, 2)),
    ErrorBudget: lambda: st.builds(
        ErrorBudget,
        head_cov_mm2=covariances(1).map(lambda c: c[0]),
        repeat_sd_mm=st.floats(0, 1),
        motion_sd_mm=st.dictionaries(st.sampled_from(("a", "b")), st.floats(0, 1)),
        other=st.lists(st.tuples(st.sampled_from("abc"), st.floats(0, 1)), max_size=2).map(tuple),
    ),
    PlacedLines: lambda: varied(
        LINES, print_mm=st.lists(sizes, min_size=3, max_size=3).map(np.array)
    ),
    Verdict: lambda: st.builds(
        Verdict,
        contour=st.sampled_from(("c1", "c2")),
        state=st.sampled_from(sorted(_states())),
        p_in_tolerance=st.floats(0, 1),
        worst_xy=st.tuples(places, places).map(np.array),
        limit_mm=sizes,
        reason=st.just("why"),
        kind=st.sampled_from(("print", "size")),
        expected_mm=sizes,
        bound_mm=sizes,
        part=st.integers(0, 9),
    ),
    HoldReport: lambda: varied(HOLD, load_n=some_floats(2, 2)),
}


def _states() -> list:
    from kerfwright.model.verdict import VerdictState

    return list(VerdictState)
