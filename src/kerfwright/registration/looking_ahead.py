"""Where the other marks of a sheet are to be expected, from those that were seen."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from kerfwright.geometry.record import F64
from kerfwright.model.prior import PrintPrior

SIGMAS = 3.29
"""0.999 of a normal variable, both sides."""
_FREE_MM = 1e4
_FREE_RAD = 1e2


class Expected(NamedTuple):
    """Places (N, 2) and the half width of the window each lies in with 99.9 % (N,) [mm]."""

    xy_mm: F64
    search_mm: F64


def expected_places(
    nominal: F64, known: F64, seen: F64, cov_mm2: F64, affine: F64, prior: PrintPrior
) -> Expected:
    """Return where nominal marks should be seen, given some that were.

    Place and turn are free; growth along both axes, skew and bow are held by the prior, so that two
    marks close together say little of a third far away.

    Parameters
    ----------
    nominal : ndarray of shape (N, 2), float
        Marks to be expected, sheet frame [mm].
    known, seen : ndarray of shape (K, 2), float
        Marks seen, in the sheet frame and in the table frame, K >= 2 [mm].
    cov_mm2 : ndarray of shape (K, 2, 2), float
        Their covariance [mm2].
    affine : ndarray of shape (2, 3), float
        table_from_sheet as matched; its nearest similarity is where the terms are small [1, mm].
    prior : PrintPrior
        What the print may do.
    """
    u, sizes, vt = np.linalg.svd(affine[:, :2])
    similar = float(sizes.mean()) * (u @ vt)
    middle = known.mean(axis=0)
    centre = seen.mean(axis=0)
    at = known - middle
    left = (seen - centre - at @ similar.T) @ np.linalg.inv(similar).T
    design = _terms(at)
    noise2 = prior.mark_sd_mm**2 + prior.field_sd_mm**2 + np.linalg.eigvalsh(cov_mm2)[:, -1]
    weight = np.repeat(1.0 / noise2, 2)
    info = (design * weight[:, None]).T @ design + np.diag(1.0 / _term_sd(prior) ** 2)
    spread = np.linalg.inv(info)
    found = spread @ (design.T @ (weight * left.ravel()))
    ahead = _terms(nominal - middle)
    place = (nominal - middle + (ahead @ found).reshape(-1, 2)) @ similar.T + centre
    variance = np.einsum("ki,ij,kj->k", ahead, spread, ahead).reshape(-1, 2).max(axis=1)
    own2 = prior.mark_sd_mm**2 + prior.field_sd_mm**2
    return Expected(place, SIGMAS * np.sqrt(variance + own2))


def _terms(xy: F64) -> F64:
    """Return the slopes (2 N, 8): shifts, turn, growth, its difference, skew, bows."""
    x, y = xy[:, 0], xy[:, 1]
    one, none = np.ones(len(xy)), np.zeros(len(xy))
    along = np.column_stack((one, none, -y, x, x, y, y * y / 2.0, none))
    across = np.column_stack((none, one, x, y, -y, none, none, x * x / 2.0))
    return np.stack((along, across), axis=1).reshape(-1, 8)


def _term_sd(prior: PrintPrior) -> F64:
    growth = max(prior.growth_sd, 1e-6)
    skew, bow = max(prior.skew_sd_rad, 1e-7), max(prior.bow_sd_per_mm, 1e-10)
    return np.array((_FREE_MM, _FREE_MM, _FREE_RAD, growth, growth, skew, bow, bow))
