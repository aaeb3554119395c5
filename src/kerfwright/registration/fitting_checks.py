"""What a fit asks of its marks before it looks at them."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from kerfwright.errors import GeometryError
from kerfwright.geometry._checks import points_of
from kerfwright.geometry.record import BOOL, F64
from kerfwright.registration.fitting_frame import Box, require_apart

_LEAST_MARKS = 2


def checked_input(
    nominal_xy: ArrayLike, measured_xy: ArrayLike, measured_cov: ArrayLike | None, domain: Box
) -> tuple[F64, F64, F64]:
    """Return nominal and measured places (N, 2) and covariances (N, 2, 2).

    Raises
    ------
    GeometryError
        If one of them cannot be fitted to; names the mark.
    """
    nominal, measured = points_of(nominal_xy), points_of(measured_xy)
    if nominal.shape != measured.shape:
        msg = f"{len(nominal)} nominal marks were given for {len(measured)} measured ones"
        raise GeometryError(f"{msg}; give one row for each in both")
    if len(nominal) < _LEAST_MARKS:
        msg = f"a sheet cannot be fitted to {len(nominal)} marks, least is {_LEAST_MARKS}"
        raise GeometryError(f"{msg}: one mark gives no angle; look at another one")
    length = _length_of(domain)
    require_apart(nominal, "nominal", length)
    require_apart(measured, "measured", length)
    return nominal, measured, _covariances(measured_cov, len(nominal))


def _length_of(domain: Box) -> float:
    box = np.asarray(domain, dtype=np.float64)
    if box.shape != (4,) or not np.isfinite(box).all() or not (box[:2] < box[2:]).all():
        msg = f"domain {tuple(domain)} is no box; give x0, y0, x1, y1 with x0 < x1 and y0 < y1"
        raise GeometryError(msg)
    return float((box[2:] - box[:2]).max())


def _covariances(measured_cov: ArrayLike | None, count: int) -> F64:
    if measured_cov is None:
        return np.zeros((count, 2, 2))
    cov = np.asarray(measured_cov, dtype=np.float64)
    if cov.shape != (count, 2, 2):
        msg = f"measured_cov has shape {cov.shape}, wanted ({count}, 2, 2): one per mark"
        raise GeometryError(msg)
    finite: BOOL = np.asarray(np.isfinite(cov).all(axis=(1, 2)), dtype=np.bool_)
    safe = np.where(finite[:, None, None], cov, 0.0)
    size = np.abs(safe).max(axis=(1, 2))
    even = np.abs(safe[:, 0, 1] - safe[:, 1, 0]) <= 1e-9 * size
    least = np.linalg.eigvalsh((safe + safe.transpose(0, 2, 1)) / 2.0)[:, 0]
    wrong = np.flatnonzero(~(finite & even & (least >= -1e-12 * size)))
    if wrong.size:
        row = int(wrong[0])
        msg = f"measured_cov of mark {row} is {cov[row].tolist()}, which is no covariance"
        raise GeometryError(f"{msg}; it must be finite, symmetric and without negative variance")
    return (cov + cov.transpose(0, 2, 1)) / 2.0
