"""Samples and strategies of what the stages leave in the store."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from hypothesis import strategies as st

from kerfwright.geometry.plane_map import rigid_map
from kerfwright.job.results import (
    ArtworkResult,
    CheckResult,
    DrawingsResult,
    FitResult,
    Furniture,
    HoldResult,
    LayoutResult,
    LookResult,
    PlacedContours,
    PlanResult,
    PrintResult,
    ProgramResult,
    TimeResult,
)
from model.records import (
    Strategy,
    build,
    cut_orders,
    indices,
    motions,
    operations,
    path_sets,
    plane_maps,
    records,
    setups,
    texts,
)
from model.samples import (
    BUDGET,
    DRAWING,
    FINDING,
    FIT,
    HOLD,
    KISS,
    LAYOUT,
    MAP,
    MARKS,
    MATCH,
    MOTION,
    ORDER,
    PART,
    SETUP,
    SHA,
    THREE,
    THROUGH,
    TIMED,
    VERDICT,
    VERIFICATION,
)

PLACED = PlacedContours(
    contours=("c1", "c2", "c3@2"),
    placement=np.array([0, 0, 1]),
    on_sheet=THREE,
    on_table=THREE,
    operations=(THROUGH, KISS),
    operation=np.array([0, 0, 1]),
    part_side=np.array([1, -1, 0]),
    table_from_sheet=MAP,
    maps=(MAP, rigid_map(1.0, 2.0, 0.3)),
    map=np.array([0, 0, 1]),
)
FURNITURE = Furniture(label_box_mm=(10.0, 10.0, 50.0, 50.0), arrow_xy_mm=(120.0, 10.0))
PLAN = PlanResult(
    placed=PLACED,
    held=("c9",),
    setups=(SETUP,),
    order=ORDER,
    motion=MOTION,
    travel_z_mm=25.0,
    findings=(FINDING,),
)
RESULT_SAMPLES = {
    type(record): record
    for record in (
        ArtworkResult(drawings=(DRAWING,), parts=(PART, PART), findings=(FINDING,)),
        DrawingsResult(drawings=(DRAWING,)),
        FURNITURE,
        LayoutResult(layout=LAYOUT, marks=MARKS, furniture=FURNITURE, findings=()),
        PrintResult(with_cut_lines=SHA, without=SHA, label="kw=1", findings=(FINDING,)),
        LookResult(
            xy_mm=MARKS.xy,
            cov_mm2=np.tile(np.eye(2), (4, 1, 1)),
            photo=np.array([0, 0, 1, 2]),
            match=MATCH,
            labels=("kw=1",),
            findings=(FINDING,),
        ),
        FitResult(fit=FIT, placed=PLACED, budget=BUDGET, verdicts=(VERDICT,), findings=(FINDING,)),
        HoldResult(report=HOLD),
        PLACED,
        PLAN,
        TimeResult(timed=TIMED, naive_s=0.9),
        ProgramResult(
            text="%\nG21 G90\nM30\n%\n", air_text="(air)\n", dialect_id="plain", z_zero_mm=-0.0
        ),
        CheckResult(verification=VERIFICATION, air_cuts_nothing=True, findings=(FINDING,)),
    )
}
"""A sample of every record type of kerfwright.job.results."""


@st.composite
def placed_contours(draw: Callable) -> PlacedContours:
    on_sheet = draw(path_sets())
    n = len(on_sheet)
    held = draw(st.lists(operations(), min_size=1, max_size=2).map(tuple))
    return draw(
        build(
            PlacedContours,
            contours=st.tuples(*[texts] * n),
            placement=indices(n, 9),
            on_sheet=st.just(on_sheet),
            on_table=path_sets(n),
            operations=st.just(held),
            operation=indices(n, len(held)),
            part_side=indices(n, 3).map(lambda a: a - 1),
            table_from_sheet=plane_maps(),
            maps=st.just(()),
            map=st.just(np.zeros(0, np.int64)),
        )
    )


def _sampled(kind: type) -> Strategy:
    return st.just(RESULT_SAMPLES[kind])


def _plans() -> Strategy:
    return build(
        PlanResult,
        placed=placed_contours(),
        setups=st.lists(setups(), max_size=2).map(tuple),
        order=cut_orders(),
        motion=motions(),
    )


RESULT_STRATEGIES: dict[type, Callable[[], Any]] = {
    PlacedContours: placed_contours,
    PlanResult: _plans,
    **{
        kind: lambda kind=kind: build(kind)
        for kind in RESULT_SAMPLES
        if kind not in (PlacedContours, PlanResult, FitResult, LookResult)
    },
    FitResult: lambda: _sampled(FitResult),
    LookResult: lambda: _sampled(LookResult),
}


def results_of(kind: type) -> Strategy:
    return RESULT_STRATEGIES[kind]() if kind in RESULT_STRATEGIES else records(kind)
