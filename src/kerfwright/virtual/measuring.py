"""What was cut against what was truly printed, contour by contour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import ArrayLike

from kerfwright.errors import Finding, ModelError
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import BOOL, F64, I64, Record, frozen_array, require
from kerfwright.virtual._following import Face
from kerfwright.virtual._lines import (
    Line,
    Matched,
    match,
    nominal_line,
    rigid_fit,
    small_rigid_step,
)
from kerfwright.virtual._measure_words import measure_words
from kerfwright.virtual._owning import owners
from kerfwright.virtual._routed import stray_ways_mm, told_apart, wall, wall_size
from kerfwright.virtual.cutting import CutTrace
from kerfwright.virtual.truth import Truth

_FITS = 8
_STILL_MM = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CutMeasure(Record):
    """K contours as they were really cut.

    Parameters
    ----------
    ids : tuple of str
        Contour ids.
    worst_mm : ndarray of shape (K,), float
        Greatest distance between the cut and the contour wanted, in both directions: of the
        printed contour where it follows the print, of the true shape moved rigidly with its
        part where it keeps its size; infinite where nothing was cut [mm].
    worst_xy_mm : ndarray of shape (K, 2), float
        Where, table frame; the contour's first point where nothing was cut [mm].
    uncut_mm : ndarray of shape (K,), float
        Length of the contour that was not cut [mm].
    size_rows : ndarray of shape (Q,), int
        Rows of the contours that keep their size.
    size_mm : ndarray of shape (Q,), float
        Their greatest deviation from the true shape after the best rigid fit [mm].
    stray_mm : float
        Length of cuts nearer to no contour than the reach [mm].
    findings : tuple of Finding
        Contours never cut, stray cuts.
    """

    ids: tuple[str, ...]
    worst_mm: F64
    worst_xy_mm: F64
    uncut_mm: F64
    size_rows: I64
    size_mm: F64
    stray_mm: float
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        count = len(self.ids)
        frozen_array(self, "worst_mm", dtype=np.float64, shape=(count,), finite=False)
        frozen_array(self, "worst_xy_mm", dtype=np.float64, shape=(count, 2))
        frozen_array(self, "uncut_mm", dtype=np.float64, shape=(count,))
        frozen_array(self, "size_rows", dtype=np.int64, shape=(None,))
        rows = (len(self.size_rows),)
        frozen_array(self, "size_mm", dtype=np.float64, shape=rows, finite=False)


def measure_cut(
    trace: CutTrace,
    truth: Truth,
    contours: PathSet,
    ids: Sequence[str],
    *,
    fidelity: Sequence[str] | None = None,
    part: ArrayLike | None = None,
    on_line: Sequence[bool] | None = None,
    faces: tuple[Face, ...] = (Face.BOTTOM, Face.TIP),
    reach_mm: float = 2.0,
    step_mm: float = 0.02,
) -> CutMeasure:
    """Compare the cut with the contours as they truly lie.

    Parameters
    ----------
    trace : CutTrace
        What was cut.
    truth : Truth
        The sheet.
    contours : PathSet
        K nominal contours, sheet frame [mm].
    ids : sequence of str
        Their ids.
    fidelity : sequence of {'print', 'size'}, optional
        Whether each follows the print or keeps its size; 'print' by default.
    part : array_like of shape (K,), int, optional
        Which part each belongs to: contours that keep their size are wanted where the rigid
        motion nearest to all printed contours of their part takes them. By default each is a
        part of its own.
    on_line : sequence of bool, optional
        Which contours a cutter follows with its middle; along all others, by default all, its
        wall is measured. Blades, wheels and pens are always measured where they go.
    faces : tuple of Face
        Where to measure: by default where the stock is cut to full depth.
    reach_mm : float
        A stroke belongs to the contour most of it is nearest to, if it is within this on average;
        otherwise it is stray [mm].
    step_mm : float
        Greatest distance between places compared [mm].

    Returns
    -------
    CutMeasure
        One row per contour.

    Raises
    ------
    ModelError
        If the number of ids, fidelities or parts differs from the contours', a word is unknown
        or a length is not above 0.

    Notes
    -----
    The wall of a cutter is compared at places of the contour: where it cut into the part, and
    where it left material. Of other tools both curves are compared at places at most `step_mm`
    apart with the other one as a polyline: two smooth curves at a distance d are measured to
    step^2 / 8 of their curvature.
    """
    words, group = _checked(contours, ids, fidelity, part, reach_mm, step_mm)
    middle = _flags(on_line, len(contours))
    at_faces = trace.select(np.isin(trace.face, faces))
    nominal = [nominal_line(contours, k, step_mm) for k in range(len(contours))]
    printed = [line.moved_to(truth.table_from_sheet(line.points)) for line in nominal]
    wanted = _wanted(nominal, printed, words, group)
    lines, ways = told_apart(at_faces, truth, contours, middle, reach_mm)
    owner, stray = owners(lines, truth, contours, reach_mm)
    if len(ways.pieces):
        every = Line.joined(printed) if printed else None
        length = ways.pieces.lengths_mm()
        stray += float(length.sum()) if every is None else stray_ways_mm(every, ways, reach_mm)
    rows = [
        _measure(wanted[k], lines, owner == k, ways, step_mm, reach_mm)
        for k in range(len(contours))
    ]
    size = np.flatnonzero(words == "size")
    return CutMeasure(
        ids=tuple(ids),
        worst_mm=np.array([r[0] for r in rows], dtype=np.float64),
        worst_xy_mm=np.array([r[1] for r in rows], dtype=np.float64).reshape(-1, 2),
        uncut_mm=np.array([r[2] for r in rows], dtype=np.float64),
        size_rows=size,
        size_mm=np.array(
            [_size(wanted[k], lines, owner == k, ways, step_mm, reach_mm) for k in size.tolist()]
        ),
        stray_mm=stray,
        findings=measure_words(tuple(ids), rows, stray, reach_mm),
    )


def _flags(on_line: Sequence[bool] | None, count: int) -> BOOL:
    flags = np.zeros(count, np.bool_) if on_line is None else np.asarray(on_line, np.bool_)
    require(len(flags) == count, f"on_line has {len(flags)} entries for {count} contours")
    return flags


def _checked(
    contours: PathSet,
    ids: Sequence[str],
    fidelity: Sequence[str] | None,
    part: ArrayLike | None,
    reach_mm: float,
    step_mm: float,
) -> tuple[np.ndarray, I64]:
    count = len(contours)
    words = np.array(["print"] * count if fidelity is None else list(fidelity), dtype=np.str_)
    group = np.arange(count) if part is None else np.asarray(part, dtype=np.int64)
    for name, have in (("ids", len(ids)), ("fidelity", len(words)), ("part", len(group))):
        require(have == count, f"{name} has {have} entries for {count} contours")
    wrong = [w for w in words.tolist() if w not in {"print", "size"}]
    if wrong:
        raise ModelError(f"fidelity {wrong[0]!r} is unknown, must be print or size")
    require(reach_mm > 0.0, f"reach_mm is {reach_mm}, must be above 0")
    require(step_mm > 0.0, f"step_mm is {step_mm}, must be above 0")
    return words, group


def _wanted(nominal: list[Line], printed: list[Line], words: np.ndarray, group: I64) -> list[Line]:
    """Return contours as wanted: printed, or the nominal ones moved rigidly with their part."""
    wanted = list(printed)
    for g in np.unique(group[words == "size"]).tolist():
        members = np.flatnonzero(group == g).tolist()
        source = np.concatenate([nominal[k].points for k in members])
        target = np.concatenate([printed[k].points for k in members])
        weights = np.concatenate([nominal[k].weights() for k in members])
        linear, shift = rigid_fit(source, target, weights)
        for k in members:
            if words[k] == "size":
                wanted[k] = nominal[k].moved_to(nominal[k].points @ linear.T + shift)
    return wanted


def _measure(
    wanted: Line, trace: CutTrace, mine: BOOL, ways: CutTrace, step: float, reach: float
) -> tuple[float, F64, float]:
    """Return worst deviation, where, and uncut length of one contour."""
    routed = None if mine.any() else wall(wanted, ways, reach)
    if not mine.any() and routed is None:
        return inf, wanted.points[0], wanted.length_mm
    m = routed or match(wanted, trace.pieces.select(mine), step)
    there, back = int(m.from_cut_mm.argmax()), int(m.from_line_mm.argmax())
    if m.from_cut_mm[there] >= m.from_line_mm[back]:
        return float(m.from_cut_mm[there]), m.cut[there], m.uncut_mm
    return float(m.from_line_mm[back]), wanted.points[m.line_rows[back]], m.uncut_mm


def _size(
    wanted: Line, trace: CutTrace, mine: BOOL, ways: CutTrace, step: float, reach: float
) -> float:
    """Return the worst deviation from the true shape, moved to fit the cut best."""
    if not mine.any():
        return wall_size(wanted, ways, reach)
    pieces = trace.pieces.select(mine)
    line, m = wanted, match(wanted, pieces, step)
    for _ in range(_FITS):
        linear, shift = small_rigid_step(m)
        points = line.points @ linear.T + shift
        if np.abs(points - line.points).max() < _STILL_MM:
            break
        line = line.moved_to(points)
        m = match(line, pieces, step)
    return _worst(m)


def _worst(m: Matched) -> float:
    return float(max(m.from_cut_mm.max(), m.from_line_mm.max()))
