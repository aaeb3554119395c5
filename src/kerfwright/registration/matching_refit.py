"""A placement made better: pairs by nearness, an affine map, doubtful pairs dropped."""

from __future__ import annotations

import numpy as np

from kerfwright.geometry.record import F64, I64

CHI_SQUARE = 18.4  # 0.9999 of two degrees of freedom
COLLINEAR = 1e-3
"""Marks whose width is below this share of their length lie on a line."""
_ROUNDS = 4
_USUAL_SHARE = 0.12
"""Usual scatter about an affine map, bow included, as a share of the tolerance."""
_USUAL_FREEDOM = 4.0


def refined(
    found: F64, nominal: F64, start: F64, cov: F64 | None, tolerance_mm: float
) -> tuple[I64, F64]:
    """Return pairs (K, 2) of found and nominal marks, by nominal mark, and the map (2, 3).

    A mark is paired where its distance from the map, against the covariance of mark and map, is
    within the 99.99 % bound of chi square: so a speck near a missing mark does not take its name.

    Parameters
    ----------
    found, nominal : ndarray of shape (M, 2) and (N, 2), float
        Marks as seen, and as they should be [mm].
    start : ndarray of shape (2, 3), float
        Similarity to begin with [1, mm].
    cov : ndarray of shape (M, 2, 2), float or None
        Covariance of the marks seen [mm2].
    tolerance_mm : float
        How far a mark may lie from the similarity [mm].
    """
    mirrored = bool(np.linalg.det(start[:, :2]) < 0.0)
    noise2: F64 = np.zeros(len(found))
    if cov is not None:
        noise2 = np.linalg.eigvalsh(cov)[:, -1].astype(np.float64)
    pairs = paired(found, nominal, start, np.full(len(nominal), tolerance_mm**2), noise2)
    affine = start
    for _ in range(_ROUNDS):
        if len(pairs) < 2:
            return pairs, start
        affine = fitted_affine(nominal[pairs[:, 1]], found[pairs[:, 0]], mirrored=mirrored)
        if len(pairs) < 4 or is_line(nominal[pairs[:, 1]]):
            break
        spread2 = _spread2(found, nominal, pairs, affine, tolerance_mm)
        reach2 = CHI_SQUARE * spread2 * (1.0 + leverage(nominal, nominal[pairs[:, 1]]))
        again = paired(found, nominal, affine, np.minimum(reach2, tolerance_mm**2), noise2)
        again = _without_outlier(found, nominal, again, spread2, noise2)
        if np.array_equal(again, pairs):
            break
        pairs = again
    return pairs, affine


def paired(found: F64, nominal: F64, affine: F64, reach2: F64, noise2: F64) -> I64:
    """Return pairs nearest first, each mark once; ordered by nominal mark.

    Parameters
    ----------
    found, nominal : ndarray of shape (M, 2) and (N, 2), float
        Marks [mm].
    affine : ndarray of shape (2, 3), float
        table_from_sheet [1, mm].
    reach2 : ndarray of shape (N,), float
        Square of how far a nominal mark may be off [mm2].
    noise2 : ndarray of shape (M,), float
        Variance of each found mark [mm2].
    """
    place = nominal @ affine[:, :2].T + affine[:, 2]
    away2 = ((found[:, None] - place[None]) ** 2).sum(axis=-1)
    allowed = reach2[None, :] + CHI_SQUARE * noise2[:, None]
    m, k = np.nonzero(away2 <= allowed)
    order = np.lexsort((k, m, away2[m, k]))
    free_m, free_k = np.ones(len(found), bool), np.ones(len(nominal), bool)
    rows = []
    for a, b in zip(m[order].tolist(), k[order].tolist(), strict=True):
        if free_m[a] and free_k[b]:
            free_m[a] = free_k[b] = False
            rows.append((a, b))
    rows.sort(key=lambda row: row[1])
    return np.array(rows, np.int64).reshape(-1, 2)


def is_line(xy: F64) -> bool:
    """Return whether points lie on one line, or there are less than three of them."""
    if len(xy) < 3:
        return True
    spread = np.linalg.svd(xy - xy.mean(axis=0), compute_uv=False)
    return bool(spread[1] <= COLLINEAR * spread[0])


def leverage(xy: F64, marks: F64) -> F64:
    """Return the variance of an affine map at points over that of the marks it is made of, (N,)."""
    middle = marks.mean(axis=0)
    design = np.column_stack((marks - middle, np.ones(len(marks))))
    at = np.column_stack((xy - middle, np.ones(len(xy))))
    return np.asarray(((at @ np.linalg.pinv(design)) ** 2).sum(axis=1), np.float64)


def _spread2(found: F64, nominal: F64, pairs: I64, affine: F64, tolerance_mm: float) -> float:
    """Return the variance of a mark about the map, drawn towards the usual one [mm2].

    The median of the residuals is taken, so that one wrong pair does not widen the gate.
    """
    place = nominal[pairs[:, 1]] @ affine[:, :2].T + affine[:, 2]
    left2 = ((found[pairs[:, 0]] - place) ** 2).sum(axis=1)
    free = max(len(pairs) - 3.0, 0.0)
    # the median of chi square with two degrees of freedom is 2 ln 2
    told = float(np.median(left2)) / (2.0 * np.log(2.0)) * len(pairs) / max(free, 1.0)
    usual = (_USUAL_SHARE * tolerance_mm) ** 2
    return float((_USUAL_FREEDOM * usual + free * told) / (_USUAL_FREEDOM + free))


def _without_outlier(found: F64, nominal: F64, pairs: I64, spread2: float, noise2: F64) -> I64:
    """Return the pairs less the worst one, where the others do not predict it."""
    if len(pairs) < 5:
        return pairs
    at = nominal[pairs[:, 1]]
    affine = fitted_affine(at, found[pairs[:, 0]])
    hold = np.clip(1.0 - leverage(at, at), 1e-6, None)
    left2 = ((found[pairs[:, 0]] - at @ affine[:, :2].T - affine[:, 2]) ** 2).sum(axis=1)
    chance = left2 / hold**2 / (spread2 / hold + noise2[pairs[:, 0]])
    worst = int(chance.argmax())
    return np.delete(pairs, worst, axis=0) if chance[worst] > CHI_SQUARE else pairs


def fitted_affine(nominal: F64, found: F64, *, mirrored: bool = False) -> F64:
    """Return the affine map by least squares; a similarity for two points or points on a line.

    Parameters
    ----------
    nominal, found : ndarray of shape (K, 2), float
        At least two pairs [mm].
    mirrored : bool
        Hand of the similarity where that is all that can be fitted.
    """
    middle = nominal.mean(axis=0)
    if not is_line(nominal):
        design = np.column_stack((nominal - middle, np.ones(len(nominal))))
        solved: F64 = np.linalg.lstsq(design, found, rcond=None)[0].T
        solved[:, 2] -= solved[:, :2] @ middle
        return solved
    hand = -1.0 if mirrored else 1.0
    z = (nominal - middle) @ (hand, 1j)
    w = (found - found.mean(axis=0)) @ (1.0, 1j)
    turn = complex(np.vdot(z, w) / np.vdot(z, z))
    linear = np.array(((hand * turn.real, -turn.imag), (hand * turn.imag, turn.real)))
    return np.column_stack((linear, found.mean(axis=0) - linear @ middle))
