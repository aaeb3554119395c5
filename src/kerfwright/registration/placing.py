"""A sheet with its parts -> where the marks go."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from kerfwright.errors import GeometryError, UsageError
from kerfwright.geometry.paths import PathSet, join_sets, make_circle
from kerfwright.geometry.record import BOOL, F64, digest_of
from kerfwright.model.marks import MarkLayout
from kerfwright.model.prior import PrintPrior
from kerfwright.model.sheet import Sheet
from kerfwright.registration.placing_draws import SeesFrom, draw, lonely
from kerfwright.registration.placing_findings import (
    SAFE_AMBIGUITY,
    SHARE_OF_TOLERANCE,
    findings_of,
)
from kerfwright.registration.placing_reach import falls_into_view
from kerfwright.registration.placing_sd import points_of_interest, predicted_sd_mm
from kerfwright.registration.placing_spots import free_spots, make_ground
from kerfwright.registration.symmetry import layout_ambiguity

COUNTS = (6, 8, 10, 12)
_COUNT_UNASKED = 8
_DRAWS = 30
_ROUNDS = 4
"""Times 30 draws, as long as none is unambiguous."""


def place_marks(
    sheet: Sheet,
    parts: PathSet,
    *,
    count: int | None = None,
    prior: PrintPrior | None,
    field_of_view_mm: tuple[float, float],
    throw_rad: float,
    tolerance_mm: float | None = None,
    keep_outs: PathSet | None = None,
    reach: tuple[float, float, float, float] | None = None,
    face_down: bool = False,
    seed: int,
    diameter_mm: float = 6.0,
) -> MarkLayout:
    """Return marks that can be found, told apart and relied on.

    Marks stand along the edge and, where parts leave waste, inside: as far from one another as
    can be, in half of the draws with the corners first, slid by 15 to 40 mm. Of 30 draws (120
    where none is unambiguous) the one is kept with the fewest marks that have no
    neighbour in view, then the least ambiguity, then the least of the greatest standard deviation
    over the parts.

    Parameters
    ----------
    sheet : Sheet
        The nominal sheet; its holes and keep-outs stay free of marks.
    parts : PathSet
        Placed outlines in the sheet frame; empty means parts all over the sheet [mm].
    count : int, optional
        Marks wanted, at least 2. By default 8, or with a tolerance the fewest of 6, 8, 10, 12
        with which twice the greatest standard deviation is within a quarter of the tolerance.
    prior : PrintPrior or None
        What printer and medium may do; None takes its defaults.
    field_of_view_mm : tuple of float
        Width and height of the camera's picture at the sheet [mm].
    throw_rad : float
        Largest absolute turn of the sheet as it is thrown on the bed [rad].
    tolerance_mm : float, optional
        Tightest tolerance to the print of any part [mm].
    keep_outs : PathSet, optional
        More closed places without marks, sheet frame [mm].
    reach : tuple of float, optional
        x0, y0, x1, y1 the camera reaches however the sheet is thrown, sheet frame [mm].
    face_down : bool, default False
        Whether the sheet may lie face down: then no mirrored placement may fit either.
    seed : int
        Seed of the draws; the same input gives the same marks.
    diameter_mm : float, default 6
        Diameter of a mark; its quiet zone is half of it wide [mm].

    Returns
    -------
    MarkLayout
        Row 0 is the mark nearest to the operator's lower left corner that has a neighbour in
        view, row 1 that neighbour; the others follow, each the nearest to the one before.

    Raises
    ------
    UsageError
        If a number is out of its range.
    GeometryError
        If there is no room for two marks: one mark gives no angle.
    """
    _require(count, field_of_view_mm, throw_rad, tolerance_mm, diameter_mm, reach)
    prior = PrintPrior() if prior is None else prior
    quiet = diameter_mm / 2.0
    ground = make_ground(sheet, parts, keep_outs, clear_mm=diameter_mm / 2.0 + quiet, reach=reach)
    rng = np.random.default_rng(seed)
    spots = free_spots(ground, rng)

    def sees(away_mm: F64) -> BOOL:
        return falls_into_view(
            away_mm,
            field_of_view_mm=field_of_view_mm,
            throw_rad=throw_rad,
            prior=prior,
            diameter_mm=diameter_mm,
        )

    task = _Task(
        spots=spots,
        sees=sees,
        at=points_of_interest(parts, sheet.outline.box_mm()),
        prior=prior,
        apart_mm=max(4.0 * diameter_mm, 20.0),
        face_down=face_down,
    )
    if len(spots) < 2:
        raise GeometryError(
            f"sheet {sheet.id} has room for {len(spots)} marks of {diameter_mm:g} mm with a quiet "
            f"zone of {quiet:g} mm; one mark gives no angle: leave waste between parts, or take "
            "smaller marks"
        )
    best, wanted = _choose(task, count, tolerance_mm, seed)
    if len(best.xy) < 2:
        raise GeometryError(
            f"sheet {sheet.id} has room for 1 mark only, all free places lie within "
            f"{task.apart_mm:g} mm; one mark gives no angle: leave waste between parts"
        )
    return _layout(sheet, task, best, wanted, tolerance_mm, diameter_mm, quiet)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Task:
    """What all draws share: free spots, the view, where the map counts, the prior."""

    spots: F64
    sees: SeesFrom
    at: F64
    prior: PrintPrior
    apart_mm: float
    face_down: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class _Draw:
    """One set of marks and what it is worth; less is better."""

    xy: F64
    lonely: int
    ambiguity: int
    sd_mm: float
    worst_xy: F64

    @property
    def score(self) -> tuple[float, ...]:
        return (-len(self.xy), self.lonely, max(self.ambiguity, SAFE_AMBIGUITY), self.sd_mm)


def _choose(
    task: _Task, count: int | None, tolerance_mm: float | None, seed: int
) -> tuple[_Draw, int]:
    """Return the best draw and how many marks were wanted."""
    if count is not None or tolerance_mm is None:
        wanted = _COUNT_UNASKED if count is None else count
        return _best_draw(task, wanted, seed), wanted
    for wanted in COUNTS[:-1]:
        best = _best_draw(task, wanted, seed)
        if 2.0 * best.sd_mm <= tolerance_mm / SHARE_OF_TOLERANCE:
            return best, wanted
    return _best_draw(task, COUNTS[-1], seed), COUNTS[-1]


def _best_draw(task: _Task, count: int, seed: int) -> _Draw:
    draws: list[_Draw] = []
    for _ in range(_ROUNDS):
        draws += [_draw(task, count, seed, len(draws) + k) for k in range(_DRAWS)]
        if any(d.ambiguity <= SAFE_AMBIGUITY for d in draws):
            break
    return min(draws, key=lambda d: d.score)


def _draw(task: _Task, count: int, seed: int, number: int) -> _Draw:
    chosen = draw(
        task.spots,
        count,
        task.sees,
        np.random.default_rng([seed, count, number]),
        apart_mm=task.apart_mm,
        corners_first=number % 2 == 0,
    )
    return _rated(task, task.spots[chosen])


def _rated(task: _Task, xy: F64) -> _Draw:
    if len(xy) < 2:
        return _Draw(xy=xy, lonely=1, ambiguity=1, sd_mm=math.inf, worst_xy=xy[0])
    sd = predicted_sd_mm(xy, task.at, task.prior)
    worst = int(np.argmax(sd))
    return _Draw(
        xy=xy,
        lonely=int(np.count_nonzero(lonely(xy, task.sees))),
        ambiguity=layout_ambiguity(xy, may_be_mirrored=task.face_down),
        sd_mm=float(sd[worst]),
        worst_xy=task.at[worst],
    )


def _layout(
    sheet: Sheet,
    task: _Task,
    best: _Draw,
    wanted: int,
    tolerance_mm: float | None,
    diameter_mm: float,
    quiet_mm: float,
) -> MarkLayout:
    xy = best.xy[_tour(best.xy, sheet, task.sees)]
    zone = diameter_mm / 2.0 + quiet_mm
    return MarkLayout(
        sheet=sheet.id,
        xy=xy,
        diameter_mm=diameter_mm,
        quiet_mm=quiet_mm,
        id=f"marks-{len(xy)}-{digest_of((xy, diameter_mm))[:8]}",
        ambiguity=best.ambiguity,
        losses_tolerated=len(xy) - best.ambiguity - 1,
        worst_sd_mm=best.sd_mm,
        zones=join_sets(make_circle(p, zone) for p in xy),
        findings=tuple(
            findings_of(
                sheet,
                xy,
                lonely(xy, task.sees),
                wanted=wanted,
                ambiguity=best.ambiguity,
                sd_mm=best.sd_mm,
                worst_xy=best.worst_xy,
                tolerance_mm=tolerance_mm,
            )
        ),
    )


def _tour(xy: F64, sheet: Sheet, sees: SeesFrom) -> list[int]:
    """Return the marks in the order they are shown: first, its neighbour in view, the nearest."""
    corner = np.array(sheet.outline.box_mm()[:2])
    alone = lonely(xy, sees)
    first = min(range(len(xy)), key=lambda i: (alone[i], float(np.hypot(*(xy[i] - corner)))))
    order, left = [first], set(range(len(xy))) - {first}
    in_view = sees(xy - xy[first])
    while left:
        here = xy[order[-1]]
        order.append(
            min(
                left,
                key=lambda i: (
                    len(order) == 1 and not in_view[i],
                    float(np.hypot(*(xy[i] - here))),
                    i,
                ),
            )
        )
        left.remove(order[-1])
    return order


def _require(
    count: int | None,
    field_of_view_mm: tuple[float, float],
    throw_rad: float,
    tolerance_mm: float | None,
    diameter_mm: float,
    reach: tuple[float, float, float, float] | None,
) -> None:
    if count is not None and count < 2:
        raise UsageError(f"count is {count}, least is 2: one mark gives no angle")
    if not 0.0 <= throw_rad <= math.pi:
        raise UsageError(f"throw_rad is {throw_rad}, must be from 0 to pi")
    if not (math.isfinite(diameter_mm) and diameter_mm > 0.0):
        raise UsageError(f"diameter_mm is {diameter_mm}, must be above 0")
    if tolerance_mm is not None and not tolerance_mm > 0.0:
        raise UsageError(f"tolerance_mm is {tolerance_mm}, must be above 0")
    if not min(field_of_view_mm) > diameter_mm:
        raise UsageError(
            f"field_of_view_mm is {field_of_view_mm}, both sides must be above the diameter of a "
            f"mark, {diameter_mm} mm"
        )
    if reach is not None and not (reach[0] < reach[2] and reach[1] < reach[3]):
        raise UsageError(f"reach {reach} is empty; give x0, y0, x1, y1")
