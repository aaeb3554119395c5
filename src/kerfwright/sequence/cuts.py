"""The cuts to be ordered and every way to do them, gathered from all operations in flat arrays.

*Line*: a row of the paths, one contour under one operation. *Cut*: one pass of a line. *Row*: one
way to do a cut; the rows of a cut stand together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kerfwright.errors import ModelError
from kerfwright.geometry.record import F64, I64
from kerfwright.model.cut import CutChoices
from kerfwright.model.operation import Operation
from kerfwright.model.table import Table
from kerfwright.sequence.cost import MM_PER_STEP, RAD_PER_STEP, STEPS_PER_TURN


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cuts:
    """N cuts with R rows on K lines.

    Parameters
    ----------
    line, pass_no : ndarray of shape (N,), int
        Line and pass of each cut.
    first_row : ndarray of shape (N + 1,), int
        Where the rows of each cut begin.
    station, head : ndarray of shape (N,), int
        Number of the station and index of the head that does each cut.
    before : ndarray of shape (D, 2), int
        Pairs of cuts the first of which must come before the second.
    pose_in, pose_out : ndarray of shape (R, 3), float
        Entry and exit of each row, counted in steps from the job's lower left corner [steps].
    time_s : ndarray of shape (R,), float
        Time in the cut [s].
    entry_s : ndarray of shape (R,), float
        Entry as a fraction of the contour's length.
    reversed : ndarray of shape (R,), bool
        Whether the contour is run against its drawn direction.
    """

    line: I64
    pass_no: I64
    first_row: I64
    station: I64
    head: I64
    before: I64
    pose_in: F64
    pose_out: F64
    time_s: F64
    entry_s: F64
    reversed: np.ndarray

    def __len__(self) -> int:
        """Return the number of cuts."""
        return len(self.line)

    @property
    def cut_of_row(self) -> I64:
        """Cut each row belongs to, shape (R,)."""
        return np.repeat(np.arange(len(self)), np.diff(self.first_row))


def gather_cuts(
    choices: Sequence[CutChoices],
    *,
    contours: tuple[str, ...],
    operations: tuple[Operation, ...],
    operation: I64,
    table: Table,
    head_offsets: bool = True,
) -> Cuts:
    """Return all cuts of all operations; `head_offsets` puts them where the gantry has to go.

    Raises
    ------
    ModelError
        If a choice names a contour and operation that no line has, or a cut comes twice.
    UnknownNameError
        If the table holds no station for an operation.
    """
    index = {o.id: i for i, o in enumerate(operations)}
    named = zip(contours, operation.tolist(), strict=True)
    lines = {pair: row for row, pair in enumerate(named)}
    if len(lines) != len(contours):
        msg = "a contour stands twice under one operation; give each line once"
        raise ModelError(msg)
    used = [c for c in choices if len(c.contour)]
    first = [_first_rows(c) for c in used]
    line = [_lines_of(c, f, lines, index) for c, f in zip(used, first, strict=True)]
    pass_no = [c.pass_no[f] for c, f in zip(used, first, strict=True)]
    stations = [_station_of(operations[index[c.operation]], table) for c in used]
    shift = np.array([s[2] if head_offsets else (0.0, 0.0) for s in stations]).reshape(-1, 2)
    size = np.array([len(f) for f in first], np.int64)
    rows = np.array([len(c.contour) for c in used], np.int64)
    moved = np.repeat(shift, rows, axis=0)
    pose_in, pose_out = _in_steps(
        _stack([c.xyc_in for c in used], 3), _stack([c.xyc_out for c in used], 3), moved
    )
    found = Cuts(
        line=_flat(line),
        pass_no=_flat(pass_no),
        first_row=_flat([f + at for f, at in zip(first, _offsets(rows), strict=True)], rows.sum()),
        station=np.repeat(np.array([s[0] for s in stations], np.int64), size),
        head=np.repeat(np.array([s[1] for s in stations], np.int64), size),
        before=_stack([c.before + at for c, at in zip(used, _offsets(size), strict=True)], 2),
        pose_in=pose_in,
        pose_out=pose_out,
        # Rounded, so that equal cuts stay equal when the job is moved.
        time_s=np.rint(_flat([c.time_s for c in used]) / 1e-9) * 1e-9,
        entry_s=_flat([c.entry_s for c in used]).astype(np.float64),
        reversed=_flat([c.reversed for c in used]).astype(np.bool_),
    )
    _check_once(found, contours)
    return found


def _first_rows(choices: CutChoices) -> I64:
    passes = choices.pass_no.max() + 1
    key = choices.contour * passes + choices.pass_no
    return np.concatenate(([0], np.flatnonzero(np.diff(key)) + 1)).astype(np.int64)


def _lines_of(
    choices: CutChoices,
    first: I64,
    lines: dict[tuple[str, int], int],
    index: dict[str, int],
) -> I64:
    if choices.operation not in index:
        msg = f"choices name operation {choices.operation}, which is not among the operations"
        raise ModelError(msg)
    number = index[choices.operation]
    names = [choices.contours[i] for i in choices.contour[first].tolist()]
    try:
        return np.array([lines[name, number] for name in names], np.int64)
    except KeyError as missing:
        contour = missing.args[0][0]
        msg = f"choices name contour {contour} under {choices.operation}, but no path has both"
        raise ModelError(msg) from None


def _station_of(operation: Operation, table: Table) -> tuple[int, int, F64]:
    station = table.station_for(operation.head_kind, operation.tool_id)
    heads = [h.id for h in table.heads]
    return station.number, heads.index(station.head_id), table.head(station.head_id).offset_mm[:2]


def _in_steps(xyc_in: F64, xyc_out: F64, shift: F64) -> tuple[F64, F64]:
    """Return entries and exits in whole steps from the lower left corner of them all."""
    places = [xyc[:, :2] + shift for xyc in (xyc_in, xyc_out)]
    if not len(xyc_in):
        return xyc_in.copy(), xyc_out.copy()
    corner = np.minimum(places[0].min(axis=0), places[1].min(axis=0))
    steps = []
    for xy, xyc in zip(places, (xyc_in, xyc_out), strict=True):
        c = np.rint(np.mod(xyc[:, 2], 2.0 * np.pi) / RAD_PER_STEP) % STEPS_PER_TURN
        steps.append(np.column_stack((np.rint((xy - corner) / MM_PER_STEP), c)))
    return steps[0], steps[1]


def _check_once(cuts: Cuts, contours: tuple[str, ...]) -> None:
    key = cuts.line * (cuts.pass_no.max(initial=0) + 1) + cuts.pass_no
    _, first, count = np.unique(key, return_index=True, return_counts=True)
    if (count > 1).any():
        cut = first[np.argmax(count > 1)]
        msg = f"pass {cuts.pass_no[cut]} of contour {contours[cuts.line[cut]]} is given twice"
        raise ModelError(msg)


def _offsets(sizes: I64) -> list[int]:
    ends: list[int] = np.cumsum(sizes).tolist()
    return [0, *ends][: len(sizes)]


def _flat(arrays: Sequence[np.ndarray], *last: int) -> np.ndarray:
    tail = [np.array(last, np.int64)] if last else []
    both = [*arrays, *tail]
    return np.concatenate(both) if both else np.zeros(0, np.int64)


def _stack(arrays: Sequence[np.ndarray], columns: int) -> np.ndarray:
    return np.concatenate(arrays) if arrays else np.zeros((0, columns), np.int64)
