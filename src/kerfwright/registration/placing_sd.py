"""How well a set of marks will tell where each place of the sheet lies, before any is printed.

The sheet's shift and turn are unknown; growth, skew and bow have the sizes of the prior; on top
the print wanders smoothly (Matern 5/2, each axis by itself). The best linear prediction from
marks that scatter has a known covariance: universal kriging, as in Dubrule 1983 (Mathematical
Geology 15, 687-699; abstract read, formulas checked against brute force in the tests).
"""

from __future__ import annotations

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import F64
from kerfwright.model.prior import PrintPrior

_GRID = (24, 14)
_MOST_POINTS = 400
_WHOLE = 1e3


def predicted_sd_mm(marks: F64, at: F64, prior: PrintPrior) -> F64:
    """Return the standard deviation of the mapped sheet at points, in the worst direction.

    Parameters
    ----------
    marks : ndarray of shape (N, 2), float
        Marks, at least two different ones [mm].
    at : ndarray of shape (G, 2), float
        Points [mm].
    prior : PrintPrior
        What the print may do.

    Returns
    -------
    ndarray of shape (G,), float
        Square root of the greater eigenvalue of the error's covariance at each point [mm].
    """
    middle = marks.mean(axis=0)
    p, q = (marks - middle) / _WHOLE, (at - middle) / _WHOLE
    noise = np.eye(2 * len(p)) * prior.mark_sd_mm**2
    factor = cho_factor(_covariance(p, p, prior) + noise)
    flat, cross, wanted = _flat(p), _covariance(p, q, prior), _flat(q)
    by_flat, by_cross = cho_solve(factor, flat), cho_solve(factor, cross)
    # what the marks leave of shift and turn, seen at each point
    rest = (wanted - by_cross.T @ flat).reshape(len(q), 2, 3)
    information = flat.T @ by_flat
    own = _own(q, prior) - _pair_blocks(cross, by_cross, len(q))
    cov = own + rest @ np.linalg.solve(information, rest.transpose(0, 2, 1))
    half = (cov[:, 0, 0] + cov[:, 1, 1]) / 2.0
    apart = np.hypot((cov[:, 0, 0] - cov[:, 1, 1]) / 2.0, cov[:, 0, 1])
    return np.asarray(np.sqrt(np.maximum(half + apart, 0.0)))


def points_of_interest(parts: PathSet, sheet_box: tuple[float, float, float, float]) -> F64:
    """Return where the map has to be good: the vertices of the parts, or all over the sheet."""
    if len(parts):
        boxes = parts.bounds_mm()
        corners = np.concatenate([boxes[:, list(c)] for c in ((0, 1), (2, 1), (2, 3), (0, 3))])
        # the worst place is nearly always furthest out; so those stay whatever is left out
        away = -np.abs(corners - corners.mean(axis=0)).max(axis=1)
        order = np.argsort(away, kind="stable")
        outer, others = order[: _MOST_POINTS // 2], order[_MOST_POINTS // 2 :]
        stride = max(-(-len(others) // (_MOST_POINTS // 2)), 1)
        return np.asarray(corners[np.concatenate((outer, others[::stride]))])
    x0, y0, x1, y1 = sheet_box
    x, y = np.meshgrid(np.linspace(x0, x1, _GRID[0]), np.linspace(y0, y1, _GRID[1]))
    return np.column_stack((x.ravel(), y.ravel()))


def _flat(p: F64) -> F64:
    """Return what shift in x, shift in y and turn do to each point, rows x then y of each."""
    one, none = np.ones(len(p)), np.zeros(len(p))
    of_x = np.column_stack((one, none, -p[:, 1]))
    of_y = np.column_stack((none, one, p[:, 0]))
    return np.stack((of_x, of_y), axis=1).reshape(2 * len(p), 3)


def _shapes(p: F64, prior: PrintPrior) -> F64:
    """Return what growth, skew and bow of one sigma do to each point [mm]."""
    x, y, none = p[:, 0], p[:, 1], np.zeros(len(p))
    growth, skew = prior.growth_sd * _WHOLE, prior.skew_sd_rad * _WHOLE / 2.0
    bow = prior.bow_sd_per_mm * _WHOLE**2
    of_x = (growth * x, none, skew * y, -bow * x * y, bow * y * y / 2.0)
    of_y = (none, growth * y, skew * x, bow * x * x / 2.0, -bow * x * y)
    both = np.stack((np.column_stack(of_x), np.column_stack(of_y)), axis=1)
    return both.reshape(2 * len(p), 5)


def _field(gap: F64, prior: PrintPrior) -> F64:
    """Return the covariance of the wander over distances, Matern 5/2 [mm2]."""
    u = np.sqrt(5.0) * gap * _WHOLE / prior.field_length_mm
    return np.asarray(prior.field_sd_mm**2 * (1.0 + u + u * u / 3.0) * np.exp(-u))


def _covariance(p: F64, q: F64, prior: PrintPrior) -> F64:
    gap = np.hypot(*(p[:, None] - q[None]).transpose(2, 0, 1))
    field = np.kron(_field(gap, prior), np.eye(2))
    return np.asarray(field + _shapes(p, prior) @ _shapes(q, prior).T)


def _own(q: F64, prior: PrintPrior) -> F64:
    shapes = _shapes(q, prior).reshape(len(q), 2, 5)
    own = shapes @ shapes.transpose(0, 2, 1) + np.eye(2) * prior.field_sd_mm**2
    return np.asarray(own)


def _pair_blocks(cross: F64, by_cross: F64, count: int) -> F64:
    """Return the 2 x 2 blocks on the diagonal of ``cross.T @ by_cross``."""
    a, b = cross.reshape(-1, count, 2), by_cross.reshape(-1, count, 2)
    return np.asarray(np.einsum("kgi,kgj->gij", a, b))
