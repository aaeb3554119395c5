"""When the last web of each part's outline is cut."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from kerfwright.geometry.record import F64, I64, Record
from kerfwright.holddown.bodies import Bodies
from kerfwright.holddown.pieces import Pieces

NEVER = np.iinfo(np.int64).max


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Freeing(Record):
    """When B parts come free, as numbers of pieces; `NEVER` for parts that stay in the sheet.

    Parameters
    ----------
    loose : ndarray of shape (B,), int
        Piece during which the web that is left becomes short.
    freed : ndarray of shape (B,), int
        Piece that cuts the last of the web.
    uncut_mm : ndarray of shape (B,), float
        Length of outline no piece cuts through [mm].
    """

    loose: I64
    freed: I64
    uncut_mm: F64


def find_freeing(bodies: Bodies, pieces: Pieces, *, web_mm: float, near_mm: float) -> Freeing:
    """Return when each part comes free.

    Each piece that cuts through is laid onto the outlines it runs along, as an interval of their
    length; a part comes free when what no interval covers yet is at most `web_mm` long. Webs
    shorter than that are not trusted to hold.
    """
    count = len(bodies.row)
    length = shapely.length(bodies.ring)
    loose, freed = np.full(count, NEVER), np.full(count, NEVER)
    uncut = np.array(length, np.float64)
    piece, body, begin, size = _intervals(bodies, pieces, near_mm)
    order = np.lexsort((piece, body))
    piece, body, begin, size = piece[order], body[order], begin[order], size[order]
    first = np.searchsorted(body, np.arange(count + 1))
    for b in range(count):
        rows = slice(first[b], first[b + 1])
        if first[b] < first[b + 1]:
            found = _covered(begin[rows], size[rows], piece[rows], float(length[b]), web_mm)
            loose[b], freed[b], uncut[b] = found
    return Freeing(loose=loose, freed=freed, uncut_mm=uncut)


def _intervals(bodies: Bodies, pieces: Pieces, near_mm: float) -> tuple[I64, I64, F64, F64]:
    """Return piece, part, begin and size of every stretch of outline that is cut through."""
    through = np.flatnonzero(pieces.is_through[pieces.trace_piece])
    if not (through.size and len(bodies.row)):
        none = np.zeros(0, np.int64)
        return none, none, np.zeros(0), np.zeros(0)
    tree = shapely.STRtree(bodies.ring)
    lines = shapely.linestrings(pieces.trace[through])
    which, body = tree.query(lines, predicate="dwithin", distance=near_mm)
    row = through[which]
    ring = bodies.ring[body]
    points = shapely.points(pieces.trace[row])
    close = shapely.distance(ring[:, None], points) <= near_mm
    keep = close.sum(axis=1) >= 2  # one alone only meets the outline and does not run along it
    piece, body = pieces.trace_piece[row[keep]], body[keep]
    ring, points = ring[keep], points[keep]
    at = shapely.line_locate_point(ring[:, None], points[:, ::2])
    length = shapely.length(ring)
    ahead = np.mod(at[:, 1] - at[:, 0], length)
    # a straight or short piece never covers more than half of a closed outline
    is_ahead = ahead <= length / 2.0
    begin = np.where(is_ahead, at[:, 0], at[:, 1])
    return piece, body.astype(np.int64), begin, np.where(is_ahead, ahead, length - ahead)


def _covered(
    begin: F64, size: F64, piece: I64, length: float, web_mm: float
) -> tuple[int, int, float]:
    """Return loose and freeing piece and uncut length of one outline."""
    marks = np.concatenate(((0.0, length), np.mod(begin, length), np.mod(begin + size, length)))
    knots = np.unique(marks)
    part = np.diff(knots)
    middle = (knots[1:] + knots[:-1]) / 2.0
    covers = np.mod(middle[None, :] - begin[:, None], length) <= size[:, None]
    when = np.where(covers, piece[:, None], NEVER).min(axis=0)
    is_cut = when < NEVER
    uncut = float(part[~is_cut].sum())
    if uncut > web_mm or not is_cut.any():
        return NEVER, NEVER, uncut
    when, part = when[is_cut], part[is_cut]
    late = np.argsort(-when, kind="stable")
    left = uncut + np.cumsum(part[late])
    over = np.flatnonzero(left > web_mm)
    loose = when[late[over[0]]] if over.size else when[late[-1]]
    return int(loose), int(when.max()), uncut
