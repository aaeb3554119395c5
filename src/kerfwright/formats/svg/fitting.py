"""Curves and ellipses to arcs: neighbours fitted together, equal runs once, the rest exact."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np

from kerfwright.errors import GeometryError, OutOfResourcesError
from kerfwright.formats.dxf.pile import Flat, Pile
from kerfwright.formats.notes import Notes
from kerfwright.formats.svg.exact import at, cubics, exact_of, pile_exact
from kerfwright.formats.svg.outlines import Outlines
from kerfwright.formats.svg.pile import ARC, CURVE
from kerfwright.geometry.record import BOOL, F64, I64

if TYPE_CHECKING:
    from kerfwright.geometry.curves import Curve

_ROUND_MM: Final = 1e-9  # runs whose shapes differ by less share one fit
_AT_ONCE: Final = 20_000  # pieces fitted together, which bounds the memory


@dataclass(frozen=True, slots=True)
class Fitted:
    """Vertices and bulges of a fitted run about its own start, the last vertex included."""

    points: F64
    bulges: F64


@dataclass(frozen=True, slots=True)
class Run:
    """Neighbouring pieces that are fitted as one curve, about their own start."""

    rows: F64
    kind: I64
    closed: bool


@dataclass(slots=True)
class RunFitter:
    """Collects runs (`ask`), fits them (`run`), keeps what came out (`done`)."""

    tolerance_mm: float
    most_arcs: int
    file: str
    number: dict[bytes, int] = field(default_factory=dict)
    runs: list[Run] = field(default_factory=list)
    asked: int = 0
    worst_mm: float = 0.0
    done: list[Fitted | str] = field(default_factory=list)

    def ask(self, rows: F64, kind: I64, *, closed: bool) -> int:
        """Ask for a run of pieces; return a ticket."""
        self.asked += len(rows)
        about = rows.copy()
        about[:, [0, 4]] -= rows[0, 0]
        about[:, 1] -= rows[0, 0]
        is_curve = kind == CURVE
        about[is_curve, 2] -= rows[0, 0]
        about[is_curve, 3] = 0.0
        key = bytes((closed,)) + kind.tobytes() + np.round(about / _ROUND_MM).tobytes()
        if key not in self.number:
            self.number[key] = len(self.runs)
            self.runs.append(Run(about, kind, closed))
        return self.number[key]

    def run(self) -> None:
        """Fit all runs; one that cannot be fitted keeps the reason."""
        batch: list[Run] = []
        size = 0
        for item in self.runs:
            batch.append(item)
            size += len(item.rows)
            if size >= _AT_ONCE:
                self.done += self._fit(batch)
                batch, size = [], 0
        if batch:
            self.done += self._fit(batch)

    def _fit(self, batch: list[Run]) -> list[Fitted | str]:
        """Fit runs together; one by one where one of them cannot be fitted."""
        try:
            return self._fit_together(batch)
        except GeometryError as error:
            if len(batch) == 1:
                return [error.message]
        return [found for item in batch for found in self._fit([item])]

    def _fit_together(self, batch: list[Run]) -> list[Fitted | str]:
        from kerfwright.geometry.fit import fit_curves  # noqa: PLC0415 - few drawings have curves

        try:
            fit = fit_curves(
                [_curve(r) for r in batch],
                tolerance_mm=self.tolerance_mm,
                max_arcs=self.most_arcs,
            )
        except OutOfResourcesError as error:
            msg = f"{self.file}: {error.message}; a larger tolerance needs fewer arcs"
            raise OutOfResourcesError(msg) from error
        self.worst_mm = max(self.worst_mm, fit.hausdorff_mm)
        p = fit.paths
        found: list[Fitted | str] = []
        for a, b, run in zip(p.starts[:-1], p.starts[1:], batch, strict=True):
            points, bulges = p.points[a:b], p.bulges[a:b]
            if run.closed:
                points = np.concatenate((points, run.rows[-1:, 4]))
                bulges = np.concatenate((bulges, [0.0]))
            found.append(Fitted(points, bulges))
        return found


def _curve(run: Run) -> Curve:
    """Return a run as one curve, the parameter counting its pieces."""
    from kerfwright.geometry.curves import Curve  # noqa: PLC0415 - few drawings have curves

    last = len(run.rows) - 1

    if (run.kind == CURVE).all():
        control = run.rows[:, [0, 1, 2, 4]]
        steps = 3.0 * np.diff(control, axis=1)

        def evaluate(t: F64) -> tuple[F64, F64]:
            k = np.clip(t.astype(np.int64), 0, last)
            return cubics(control[k], steps[k], (t - k)[:, None])
    else:

        def evaluate(t: F64) -> tuple[F64, F64]:
            k = np.clip(t.astype(np.int64), 0, last)
            return at(run.rows[k], run.kind[k], t - k)

    return Curve(evaluate=evaluate, breaks=np.arange(last + 2.0), closed=run.closed)


def fit_outlines(
    o: Outlines, *, tolerance_mm: float, most_points: int, file: str, notes: Notes
) -> Flat:
    """Return outlines as paths of lines and arcs; `Flat.path` is the outline of each.

    Raises
    ------
    OutOfResourcesError
        If more vertices would be needed than the limit.
    """
    pile = Pile(most_points=most_points, file=file)
    is_free = (o.kind == CURVE) | (o.kind == ARC)
    has_free = np.add.reduceat(np.append(is_free, False), o.starts[:-1]) > 0
    bulge = o.bulge
    pile_exact(o, bulge, np.flatnonzero(~has_free), pile)
    fitter = RunFitter(tolerance_mm=tolerance_mm, most_arcs=most_points, file=file)
    planned = {int(k): _plan(o, is_free, int(k), fitter) for k in np.flatnonzero(has_free)}
    fitter.run()
    lost = 0
    exact = exact_of(o, bulge, ~is_free & np.repeat(has_free, np.diff(o.starts)))
    for k, plan in planned.items():
        lost += not _pile_mixed(o, k, plan, fitter, exact, pile)
    if lost:
        reasons = sorted({r for r in fitter.done if isinstance(r, str)})
        notes.count("SVG-131", reasons[0], lost)
    if fitter.asked:
        notes.add(
            "SVG-105",
            measured=fitter.worst_mm,
            limit=tolerance_mm,
            unit="mm",
            params={"count": fitter.asked},
        )
    return pile.finish()


def _plan(o: Outlines, is_free: BOOL, k: int, fitter: RunFitter) -> list[tuple[int, int]]:
    """Return (first piece, ticket) of each run to be fitted, (piece, -1) of each exact piece."""
    a, b = int(o.starts[k]), int(o.starts[k + 1])
    free = is_free[a:b]
    if free.all():
        return [(a, fitter.ask(o.rows[a:b], o.kind[a:b], closed=bool(o.closed[k])))]
    edges = np.flatnonzero(np.diff(free)) + 1
    plan: list[tuple[int, int]] = []
    for i, j in zip((0, *edges), (*edges, b - a), strict=True):
        if free[i]:
            rows = slice(a + i, a + j)
            plan.append((a + i, fitter.ask(o.rows[rows], o.kind[rows], closed=False)))
        else:
            plan += [(a + n, -1) for n in range(i, j)]
    return plan


def _pile_mixed(
    o: Outlines,
    k: int,
    plan: list[tuple[int, int]],
    fitter: RunFitter,
    exact: dict[int, tuple[F64, F64]],
    pile: Pile,
) -> bool:
    """Add one outline with curves; return whether all of them could be followed."""
    points, bulges = [], []
    for piece, ticket in plan:
        if ticket < 0:
            points.append(exact[piece][0])
            bulges.append(exact[piece][1])
            continue
        found = fitter.done[ticket]
        if isinstance(found, str):
            return False
        points.append(found.points[:-1] + o.rows[piece, 0])
        bulges.append(found.bulges[:-1])
    if not o.closed[k]:
        points.append(o.rows[o.starts[k + 1] - 1, 4][None])
        bulges.append(np.zeros(1))
    pile.add_one(k, np.concatenate(points), np.concatenate(bulges), closed=bool(o.closed[k]))
    return True
