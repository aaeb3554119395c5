"""Parts that keep their size: moved and turned as one piece, never stretched."""

from __future__ import annotations

import numpy as np

from kerfwright.errors import GeometryError
from kerfwright.geometry import edges
from kerfwright.geometry.paths import PathSet, edges_of
from kerfwright.geometry.record import F64, I64
from kerfwright.model.fit import SheetFit

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(8)  # to 1e-9 of a half circle


def rigid_maps(fit: SheetFit, outlines: PathSet) -> F64:
    """Return the rigid motion of each outline nearest to where the print has it.

    Least squares along the whole outline, turn and shift only (Umeyama 1991, IEEE PAMI
    13(4):376-380, without scale); a sheet that lies face down is turned over as well.

    Parameters
    ----------
    fit : SheetFit
        How the sheet lies and stretched.
    outlines : PathSet
        One outline per part, sheet frame [mm].

    Returns
    -------
    ndarray of shape (P, 2, 3), float
        table_from_sheet of each part [1, mm].

    Raises
    ------
    GeometryError
        If an outline has no length.
    """
    points, weight, path = _quadrature(outlines)
    total = np.bincount(path, weights=weight, minlength=len(outlines))
    if (total <= 0.0).any():
        first = int(np.flatnonzero(total <= 0.0)[0])
        raise GeometryError(f"outline {first} has no length, so no turn can be found for it")
    images = fit.mean_map.map_points(points)
    return rigid_fits(points, images, weight, path, len(outlines), mirrored=fit.mirrored)


def rigid_fits(
    source: F64, target: F64, weight: F64, group: I64, count: int, *, mirrored: bool = False
) -> F64:
    """Return the motion of each group of points nearest to others by least squares.

    Parameters
    ----------
    source, target : ndarray of shape (N, 2), float
        Pairs [mm].
    weight : ndarray of shape (N,), float
        Weight of each pair; those of each group add up to more than 0.
    group : ndarray of shape (N,), int
        Group of each pair, from 0 to `count` - 1.
    count : int
        Number of groups.
    mirrored : bool
        Whether the motion also turns over: the source's x is taken with the other sign.

    Returns
    -------
    ndarray of shape (`count`, 2, 3), float
        Motions [1, mm].
    """
    side = np.array((-1.0 if mirrored else 1.0, 1.0))

    def mean(values: F64) -> F64:
        return np.bincount(group, weights=weight * values, minlength=count) / total

    total = np.bincount(group, weights=weight, minlength=count)
    p = source * side
    a, b = (np.column_stack((mean(q[:, 0]), mean(q[:, 1]))) for q in (p, target))
    z, t = p - a[group], target - b[group]
    along = mean(z[:, 0] * t[:, 0] + z[:, 1] * t[:, 1])
    across = mean(z[:, 0] * t[:, 1] - z[:, 1] * t[:, 0])
    turn = np.arctan2(across, along)
    c, s = np.cos(turn), np.sin(turn)
    linear = np.stack((np.stack((c, -s), axis=1), np.stack((s, c), axis=1)), axis=1)
    shift = b - np.einsum("pij,pj->pi", linear, a)
    return np.concatenate((linear * side, shift[:, :, None]), axis=2)


def _quadrature(paths: PathSet) -> tuple[F64, F64, I64]:
    """Return points along all paths, the length each stands for, and its path: Gauss-Legendre."""
    e = edges_of(paths)
    n, k = len(e.path), len(_NODES)
    row = np.repeat(np.arange(n), k)
    share = np.tile((_NODES + 1.0) / 2.0, n)
    points = edges.point_at(e.start[row], e.end[row], e.bulge[row], share)
    length = edges.length_mm(e.start, e.end, e.bulge)
    return points, length[row] * np.tile(_WEIGHTS / 2.0, n), e.path[row]
