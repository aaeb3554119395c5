"""Cubic curves to arcs: runs of curves fitted together, equal runs once, lines left exact."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np

from kerfwright.errors import GeometryError, OutOfResourcesError
from kerfwright.formats.dxf.pile import Flat, Pile
from kerfwright.formats.notes import Notes
from kerfwright.formats.pdf.outlines import F64, Outlines

if TYPE_CHECKING:
    from kerfwright.geometry.curves import Curve

_ROUND_MM: Final = 1e-9  # runs whose shapes differ by less share one fit
_AT_ONCE: Final = 20_000  # curves fitted together, which bounds the memory


@dataclass(frozen=True, slots=True)
class Fitted:
    """Vertices and bulges of a fitted run about its own start, the last vertex included."""

    points: F64
    bulges: F64


@dataclass(slots=True)
class RunFitter:
    """Collects runs of curves (`ask`), fits them (`run`), keeps the results (`done`)."""

    tolerance_mm: float
    most_arcs: int
    file: str
    number: dict[bytes, int] = field(default_factory=dict)
    runs: list[tuple[F64, bool]] = field(default_factory=list)
    asked: int = 0
    worst_mm: float = 0.0
    done: list[Fitted | str] = field(default_factory=list)

    def ask(self, control: F64, *, closed: bool) -> int:
        """Ask for a run of curves, shape (n, 4, 2); return a ticket."""
        self.asked += len(control)
        about = control - control[0, 0]
        key = bytes((closed,)) + np.round(about / _ROUND_MM).tobytes()
        if key not in self.number:
            self.number[key] = len(self.runs)
            self.runs.append((about, closed))
        return self.number[key]

    def run(self) -> None:
        """Fit all runs; one that cannot be fitted keeps the reason."""
        batch: list[tuple[F64, bool]] = []
        size = 0
        for item in self.runs:
            batch.append(item)
            size += len(item[0])
            if size >= _AT_ONCE:
                self.done += self._fit(batch)
                batch, size = [], 0
        if batch:
            self.done += self._fit(batch)

    def _fit(self, batch: list[tuple[F64, bool]]) -> list[Fitted | str]:
        """Fit runs together; one by one where one of them cannot be fitted."""
        try:
            return self._fit_together(batch)
        except GeometryError as error:
            if len(batch) == 1:
                return [error.message]
        return [found for item in batch for found in self._fit([item])]

    def _fit_together(self, batch: list[tuple[F64, bool]]) -> list[Fitted | str]:
        from kerfwright.geometry.fit import fit_curves  # noqa: PLC0415 - few pages have curves

        curves = [_curve(control, closed=closed) for control, closed in batch]
        try:
            fit = fit_curves(curves, tolerance_mm=self.tolerance_mm, max_arcs=self.most_arcs)
        except OutOfResourcesError as error:
            msg = f"{self.file}: {error.message}; a larger tolerance needs fewer arcs"
            raise OutOfResourcesError(msg) from error
        self.worst_mm = max(self.worst_mm, fit.hausdorff_mm)
        p = fit.paths
        found: list[Fitted | str] = []
        for a, b, (control, closed) in zip(p.starts[:-1], p.starts[1:], batch, strict=True):
            points, bulges = p.points[a:b], p.bulges[a:b]
            if closed:
                points = np.concatenate((points, control[-1:, 3]))
                bulges = np.concatenate((bulges, [0.0]))
            found.append(Fitted(points, bulges))
        return found


def _curve(control: F64, *, closed: bool) -> Curve:
    """Return a run of cubics as one curve, the parameter counting them."""
    from kerfwright.geometry.curves import Curve  # noqa: PLC0415 - few pages have curves

    last = len(control) - 1
    steps = 3.0 * np.diff(control, axis=1)

    def evaluate(t: F64) -> tuple[F64, F64]:
        k = np.clip(t.astype(np.int64), 0, last)
        p, d = control[k], steps[k]
        s = (t - k)[:, None]
        u = 1.0 - s
        points = u * u * (u * p[:, 0] + 3.0 * s * p[:, 1]) + s * s * (
            3.0 * u * p[:, 2] + s * p[:, 3]
        )
        return points, u * u * d[:, 0] + 2.0 * u * s * d[:, 1] + s * s * d[:, 2]

    return Curve(evaluate=evaluate, breaks=np.arange(last + 2.0), closed=closed)


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
    has_curve = np.add.reduceat(np.append(o.is_curve, False), o.starts[:-1]) > 0
    _pile_lines(o, np.flatnonzero(~has_curve), pile)
    fitter = RunFitter(tolerance_mm=tolerance_mm, most_arcs=most_points, file=file)
    planned = {int(k): _plan(o, int(k), fitter) for k in np.flatnonzero(has_curve)}
    fitter.run()
    lost = 0
    for k, plan in planned.items():
        lost += not _pile_mixed(o, k, plan, fitter, pile)
    if lost:
        reasons = sorted({r for r in fitter.done if isinstance(r, str)})
        notes.count("PDF-131", f"curves that cannot be followed: {reasons[0]}", lost)
    if fitter.asked:
        notes.add(
            "PDF-105",
            measured=fitter.worst_mm,
            limit=tolerance_mm,
            unit="mm",
            params={"count": fitter.asked},
        )
    return pile.finish()


def _pile_lines(o: Outlines, index: np.ndarray, pile: Pile) -> None:
    """Add all outlines that have lines only, at once."""
    if not index.size:
        return
    wanted = np.zeros(len(o.closed), np.bool_)
    wanted[index] = True
    size = np.diff(o.starts)
    of_piece = np.repeat(np.arange(len(size)), size)
    rows = wanted[of_piece]
    open_ends = index[~o.closed[index]]
    path = np.concatenate((of_piece[rows], open_ends))
    points = np.concatenate((o.control[rows, 0], o.control[o.starts[1:][open_ends] - 1, 3]))
    order = np.argsort(path, kind="stable")
    counts = size[index] + ~o.closed[index]
    pile.add(index, points[order], np.zeros(len(points)), counts, o.closed[index])


def _plan(o: Outlines, k: int, fitter: RunFitter) -> list[tuple[int, int]]:
    """Return (first piece, ticket) of each run of curves, (piece, -1) of each line."""
    a, b = int(o.starts[k]), int(o.starts[k + 1])
    kinds = o.is_curve[a:b]
    if kinds.all():
        return [(a, fitter.ask(o.control[a:b], closed=bool(o.closed[k])))]
    edges = np.flatnonzero(np.diff(kinds)) + 1
    plan: list[tuple[int, int]] = []
    for i, j in zip((0, *edges), (*edges, b - a), strict=True):
        if kinds[i]:
            plan.append((a + i, fitter.ask(o.control[a + i : a + j], closed=False)))
        else:
            plan += [(a + n, -1) for n in range(i, j)]
    return plan


def _pile_mixed(
    o: Outlines, k: int, plan: list[tuple[int, int]], fitter: RunFitter, pile: Pile
) -> bool:
    """Add one outline with curves; return whether all of them could be followed."""
    points, bulges = [], []
    for piece, ticket in plan:
        begin = o.control[piece, 0]
        if ticket < 0:
            points.append(begin[None])
            bulges.append(np.zeros(1))
            continue
        found = fitter.done[ticket]
        if isinstance(found, str):
            return False
        points.append(found.points[:-1] + begin)
        bulges.append(found.bulges[:-1])
    if not o.closed[k]:
        points.append(o.control[o.starts[k + 1] - 1, 3][None])
        bulges.append(np.zeros(1))
    pile.add_one(k, np.concatenate(points), np.concatenate(bulges), closed=bool(o.closed[k]))
    return True
