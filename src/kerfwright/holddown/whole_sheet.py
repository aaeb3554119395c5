"""Whether the sheet stays while parts in it are routed and kept by tabs or a skin."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import shapely

from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry.record import F64
from kerfwright.holddown.bodies import Bodies, lay_whole
from kerfwright.holddown.figures import LOW, TYPICAL, Figures
from kerfwright.holddown.freeing import NEVER
from kerfwright.holddown.loads import Touches, every_way, use_of_hold
from kerfwright.holddown.pieces import Pieces
from kerfwright.holddown.reporting import OneEnd, Work
from kerfwright.holddown.tool_kinds import By

_WAYS = 16


def sheet_faults(
    work: Work,
    ends: tuple[OneEnd, OneEnd],
    on_table: Any,  # noqa: ANN401 - shapely has no types
    *,
    thickness_mm: float,
    least: float,
    wanted: float,
) -> Iterator[Finding]:
    """Yield a finding where a cutter may push the sheet itself away.

    Looked at where a part is routed and never comes free: then the sheet bears what a free part
    would. It is taken with all kerfs open and all parts gone that do come free, against the
    greatest force of any cutter at the outermost places any cutter goes to.
    """
    stays = work.freeing.loose == NEVER
    cutters = np.flatnonzero((work.pieces.by == By.CUTTER) & (work.pieces.size > 0.0))
    if not (stays.any() and cutters.size and len(work.zones)):
        return
    rest = shapely.difference(on_table, shapely.union_all(work.bodies.polygon[~stays]))
    bodies = lay_whole(rest, work.zones)
    touches = _outermost(work.pieces, cutters)
    margins = [
        _margin(bodies, touches, work.figures, one.vacuum_pa[-1], end, thickness_mm)
        for end, one in zip((LOW, TYPICAL), ends, strict=True)
    ]
    low, load = margins[0]
    if low < wanted:
        severe = low < least
        yield Finding(
            code="HLD-113" if severe else "HLD-114",
            severity=Severity.BLOCKS if severe else Severity.WARN,
            where=Place(
                stage="holddown", sheet=work.layout.sheets[_sheet_of(work)].id, frame="table"
            ),
            measured=low,
            limit=least if severe else wanted,
            params={"load_n": load, "typical": margins[1][0]},
        )


def _sheet_of(work: Work) -> int:
    return int(work.layout.sheet[work.placements[0]])


def _outermost(pieces: Pieces, cutters: np.ndarray) -> Touches:
    """Return the greatest chip at the outermost places of cutters, in every direction."""
    places = np.concatenate((pieces.begin[cutters], pieces.end[cutters]))
    angle = 2.0 * np.pi * np.arange(_WAYS) / _WAYS
    along = np.column_stack((np.cos(angle), np.sin(angle)))
    xy = places[np.argmax(places @ along.T, axis=0)]
    return every_way(
        Touches(
            body=np.zeros(_WAYS, np.int64),
            piece=np.full(_WAYS, len(pieces)),
            xy=xy,
            along=along,
            by=np.full(_WAYS, int(By.CUTTER)),
            size=np.full(_WAYS, float(pieces.size[cutters].max())),
            lifts=np.ones(_WAYS),
        )
    )


def _margin(
    bodies: Bodies,
    touches: Touches,
    figures: Figures,
    vacuum_pa: F64,
    end: int,
    thickness_mm: float,
) -> tuple[float, float]:
    """Return margin and load at one end of the ranges."""
    vacuum = np.tile(vacuum_pa, (len(touches.body), 1))
    uses = use_of_hold(bodies, touches, vacuum, figures, end=end, thickness_mm=thickness_mm)
    use = float(np.maximum(uses.slide, uses.tip).max())
    return 1.0 / max(use, 1e-3), float(np.hypot(*uses.load_n.T).max())
