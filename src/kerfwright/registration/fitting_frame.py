"""The frame a fit is solved in: the sheet's own, laid onto the marks by a turn and a shift.

Bow and growth belong to the sheet, however it was thrown, so the marks are turned back first. In
this frame a model is linear in 12 coefficients: those of 1, u, v, u^2, u v, v^2 for each axis.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.errors import GeometryError
from kerfwright.geometry.plane_map import PlaneMap
from kerfwright.geometry.record import F64
from kerfwright.geometry.uncertain_map import COEFFICIENTS, quadratic_basis

_COLLINEAR = 1e-3  # spread across the line of marks over spread along it
_COINCIDENT = 1e-6
_MIRROR_GAIN = 0.01
_HALF = COEFFICIENTS // 2
Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetFrame:
    """A turn, perhaps a mirror, and a shift: ``p' = shift + turn (p - centre + bend(p))``."""

    centre: F64
    length_mm: float
    turn: F64
    shift: F64
    is_mirrored: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """N marks in the sheet's frame: basis (N, 6), displacement (N, 2), covariance (N, 2, 2)."""

    basis: F64
    moved: F64
    cov: F64

    def without(self, row: int) -> Marks:
        """Return all marks but one."""
        return Marks(
            basis=np.delete(self.basis, row, axis=0),
            moved=np.delete(self.moved, row, axis=0),
            cov=np.delete(self.cov, row, axis=0),
        )


def similarity_of(source: F64, target: F64, *, mirrored: bool) -> tuple[F64, float, F64]:
    """Return turn (2, 2), scale and shift (2,) that take points onto others by least squares.

    Umeyama 1991, IEEE PAMI 13(4):376-380, with the sign of the determinant chosen by the caller.

    Raises
    ------
    GeometryError
        If all source points are one point.
    """
    a, b = source - source.mean(axis=0), target - target.mean(axis=0)
    spread = float((a * a).sum())
    if spread == 0.0:
        msg = "all points lie on one point, which gives no direction; give at least two places"
        raise GeometryError(msg)
    left, size, right = np.linalg.svd(b.T @ a)
    want = -1.0 if mirrored else 1.0
    sign = np.array([1.0, want * np.sign(np.linalg.det(left) * np.linalg.det(right))])
    turn = (left * sign) @ right
    scale = float((size * sign).sum() / spread)
    return turn, scale, target.mean(axis=0) - scale * turn @ source.mean(axis=0)


def are_collinear(nominal: F64) -> bool:
    """Return whether points lie on a line; two always do."""
    size = np.linalg.svd(nominal - nominal.mean(axis=0), compute_uv=False)
    return bool(size[1] <= _COLLINEAR * size[0])


def require_apart(xy: F64, what: str, length_mm: float) -> None:
    """Refuse two marks at one place.

    Raises
    ------
    GeometryError
        If two are closer than a millionth of the sheet.
    """
    gap = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1)) + 1e9 * np.eye(len(xy))
    i, j = np.unravel_index(int(gap.argmin()), gap.shape)
    if gap[i, j] <= _COINCIDENT * length_mm:
        msg = (
            f"marks {min(i, j)} and {max(i, j)} have the same {what} place "
            f"({xy[i, 0]:.3f}, {xy[i, 1]:.3f}) mm; leave one of them out"
        )
        raise GeometryError(msg)


def frame_of(nominal: F64, measured: F64, domain: Box) -> SheetFrame:
    """Return the sheet's frame as the marks show it lying."""
    low, high = np.array(domain[:2]), np.array(domain[2:])
    centre, length = (low + high) / 2.0, float((high - low).max()) / 2.0
    mirrored = not are_collinear(nominal) and _is_mirrored(nominal, measured)
    turn, _, _ = similarity_of(nominal, measured, mirrored=mirrored)
    shift = measured.mean(axis=0) - turn @ (nominal.mean(axis=0) - centre)
    return SheetFrame(centre=centre, length_mm=length, turn=turn, shift=shift, is_mirrored=mirrored)


def _is_mirrored(nominal: F64, measured: F64) -> bool:
    """Return whether a mirrored sheet explains the marks far better than one face up."""
    left = []
    for mirrored in (False, True):
        turn, scale, shift = similarity_of(nominal, measured, mirrored=mirrored)
        left.append(float(((measured - scale * nominal @ turn.T - shift) ** 2).sum()))
    return left[1] < _MIRROR_GAIN * left[0]


def marks_in(frame: SheetFrame, nominal: F64, measured: F64, cov: F64) -> Marks:
    """Return marks turned back into the sheet's frame."""
    away = nominal - frame.centre
    return Marks(
        basis=quadratic_basis(away / frame.length_mm),
        moved=(measured - frame.shift) @ frame.turn - away,
        cov=frame.turn.T @ cov @ frame.turn,
    )


def plane_map_of(frame: SheetFrame, coefficients: F64, domain: Box) -> PlaneMap:
    """Return the map a model's 12 coefficients in the sheet's frame stand for."""
    bend = frame.turn @ coefficients.reshape(2, _HALF)
    x, y = frame.centre
    bow = bend[:, 3:] / frame.length_mm**2
    slope = bend[:, 1:3] / frame.length_mm
    # quadratics about the centre, written about the frame's zero
    from_bow = np.column_stack(
        (-2.0 * bow[:, 0] * x - bow[:, 1] * y, -2.0 * bow[:, 2] * y - bow[:, 1] * x)
    )
    level = bow @ np.array([x * x, x * y, y * y]) - (slope + frame.turn) @ frame.centre
    linear = frame.turn + slope + from_bow
    at_zero = frame.shift + bend[:, 0] + level
    return PlaneMap(affine=np.column_stack((linear, at_zero)), bow=bow, domain=domain)


def factor_in_table(frame: SheetFrame, covariance: F64) -> F64:
    """Return a square factor of a (12, 12) covariance, turned from the sheet to the table."""
    value, vector = np.linalg.eigh(covariance)
    keep = value > 1e-14 * value[-1]
    root = np.zeros((COEFFICIENTS, COEFFICIENTS))
    root[:, keep] = vector[:, keep] * np.sqrt(value[keep])
    turned = np.einsum("ab,bkr->akr", frame.turn, root.reshape(2, _HALF, COEFFICIENTS))
    return np.asarray(turned.reshape(COEFFICIENTS, COEFFICIENTS), dtype=np.float64)
