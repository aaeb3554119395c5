"""Pieces as they are: points along them, and the vertices of lines and arcs of circles."""

from __future__ import annotations

from typing import Final

import numpy as np

from kerfwright.formats.dxf.pile import Pile
from kerfwright.formats.svg.outlines import Outlines, turn_of
from kerfwright.formats.svg.pile import CURVE, LINE
from kerfwright.geometry.record import BOOL, F64, I64

_HALF: Final = 1e-12  # an arc that sweeps more than half a circle by less is half a circle
_PLACES: Final = np.linspace(0.0, 1.0, 9)


def at(rows: F64, kind: I64, s: F64) -> tuple[F64, F64]:
    """Return points and derivatives of N pieces, each at a share from 0 to 1 of its parameter.

    Parameters
    ----------
    rows : ndarray of shape (N, 6, 2), float
        The pieces [mm].
    kind : ndarray of shape (N,), int
        Their kinds.
    s : ndarray of shape (N,), float
        The shares.
    """
    s = s[:, None]
    u = 1.0 - s
    p, a, b, q = rows[:, 0], rows[:, 1], rows[:, 2], rows[:, 4]
    control = rows[:, [0, 1, 2, 4]]
    curve, slope = cubics(control, 3.0 * np.diff(control, axis=1), s)
    sweep = rows[:, 5, 1:]
    t = rows[:, 5, :1] + s * sweep
    arc = a + b * np.cos(t) + rows[:, 3] * np.sin(t)
    turn = (rows[:, 3] * np.cos(t) - b * np.sin(t)) * sweep
    is_curve, is_line = (kind == CURVE)[:, None], (kind == LINE)[:, None]
    points = np.where(is_line, u * p + s * q, np.where(is_curve, curve, arc))
    # An arc ends where its neighbour begins, to the last bit.
    points = np.where(s == 0.0, p, np.where(s == 1.0, q, points))
    return points, np.where(is_line, q - p, np.where(is_curve, slope, turn))


def cubics(p: F64, d: F64, s: F64) -> tuple[F64, F64]:
    """Return points and derivatives of cubic curves at shares of their parameters."""
    u = 1.0 - s
    points = u * u * (u * p[:, 0] + 3.0 * s * p[:, 1]) + s * s * (3.0 * u * p[:, 2] + s * p[:, 3])
    return points, u * u * d[:, 0] + 2.0 * u * s * d[:, 1] + s * s * d[:, 2]


def samples(o: Outlines, path: I64) -> tuple[F64, I64]:
    """Return points along the pieces of some outlines, and the first one of each."""
    size = np.diff(o.starts)
    kept = np.zeros(len(size), np.bool_)
    kept[path] = True
    rows = np.flatnonzero(np.repeat(kept, size))
    many = np.repeat(rows, len(_PLACES))
    points, _ = at(o.rows[many], o.kind[many], np.tile(_PLACES, len(rows)))
    return points, np.concatenate(([0], np.cumsum(size[path] * len(_PLACES))))


def _vertices(o: Outlines, bulge: F64, rows: I64) -> tuple[F64, F64, I64]:
    """Return vertices and bulges of lines and arcs, those above half a circle split in two.

    Also returned is the piece each vertex begins or divides.
    """
    steep = np.abs(bulge[rows]) > 1.0 + _HALF
    steep |= (bulge[rows] != 0.0) & (np.abs(o.rows[rows, 5, 1]) > np.pi * (1.0 + _HALF))
    twice = np.repeat(np.arange(len(rows)), 1 + steep)
    second = np.concatenate((np.zeros(min(len(twice), 1), np.bool_), twice[1:] == twice[:-1]))
    of = rows[twice]
    middle, _ = at(o.rows[of], o.kind[of], np.full(len(of), 0.5))
    half = np.tan(o.rows[of, 5, 1] / 8.0) * turn_of(o.rows[of])
    bulges = np.where(steep[twice], half, np.clip(bulge[of], -1.0, 1.0))
    return np.where(second[:, None], middle, o.rows[of, 0]), bulges, of


def exact_of(o: Outlines, bulge: F64, wanted: BOOL) -> dict[int, tuple[F64, F64]]:
    """Return vertices and bulges of each wanted line and arc of a circle, by piece."""
    points, bulges, of = _vertices(o, bulge, np.flatnonzero(wanted))
    edges = np.flatnonzero(np.diff(of, prepend=-1))
    ends = [*edges[1:], len(of)][: len(edges)]
    return {int(of[a]): (points[a:b], bulges[a:b]) for a, b in zip(edges, ends, strict=True)}


def pile_exact(o: Outlines, bulge: F64, index: I64, pile: Pile) -> None:
    """Add all outlines of lines and arcs of circles at once."""
    if not index.size:
        return
    wanted = np.zeros(len(o.closed), np.bool_)
    wanted[index] = True
    owner = np.repeat(np.arange(len(o.closed)), np.diff(o.starts))
    points, bulges, of = _vertices(o, bulge, np.flatnonzero(wanted[owner]))
    ends = index[~o.closed[index]]
    path = np.concatenate((owner[of], ends))
    points = np.concatenate((points, o.rows[o.starts[1:][ends] - 1, 4]))
    bulges = np.concatenate((bulges, np.zeros(len(ends))))
    order = np.argsort(path, kind="stable")
    counts = np.bincount(path, minlength=len(o.closed))[index]
    pile.add(index, points[order], bulges[order], counts, o.closed[index])
