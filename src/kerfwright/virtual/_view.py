"""Where a camera sees points of the stock, forwards; kernels in `_ground` go the other way.

Points of the stock go to the table by the throw, then to the optical axis, then outwards by
curl (parallax), then through the lens, then to pixels: x right, y down, centres at integers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.geometry.record import F64, Record, frozen_array
from kerfwright.virtual.truth import Truth

_SHOT = 10
"""First stream of random numbers of pictures; those below belong to the sheet."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class View(Record):
    """A camera at its true place over a sheet.

    Parameters
    ----------
    truth : Truth
        The sheet.
    axis_mm : ndarray of shape (2,), float
        Where the optical axis truly meets the sheet's face, table frame [mm].
    """

    truth: Truth
    axis_mm: F64

    def __post_init__(self) -> None:
        frozen_array(self, "axis_mm", dtype=np.float64, shape=(2,))

    def image_from_stock(self, xy_mm: F64) -> F64:
        """Return where points of the stock are seen, shape (N, 2) [px]."""
        t, o = self.truth, self.truth.optics
        c, s = np.cos(o.turn_rad), np.sin(o.turn_rad)
        away = (t.throw.table_from_stock(xy_mm) - self.axis_mm) @ np.array(((c, -s), (s, c)))
        if t.curl is not None:
            height = t.curl.heights(xy_mm, t.stock_size_mm)
            away *= (o.working_distance_mm / (o.working_distance_mm - height))[:, None]
        u = away * o.px_per_mm
        out = 1.0 + o.lens_k1 * (u**2).sum(axis=1) / half_diagonal_px(o.size_px) ** 2
        middle = (np.array(o.size_px) - 1.0) / 2.0
        seen: F64 = u * out[:, None] * (1.0, -1.0) + middle
        return seen

    def image_from_sheet(self, xy_mm: F64) -> F64:
        """Return where printed points of the nominal sheet are seen, shape (N, 2) [px]."""
        return self.image_from_stock(self.truth.stock_from_sheet(xy_mm))


def half_diagonal_px(size_px: tuple[int, int]) -> float:
    """Return the distance from the middle of a picture to its corner [px]."""
    return float(np.hypot(*size_px) / 2.0)


def shot_rng(truth: Truth, shot: int, stream: int) -> np.random.Generator:
    """Return the random numbers of one picture: 0 place, 1 noise, 2 glare."""
    return np.random.default_rng((truth.seed, _SHOT + stream, shot))


def true_axis(truth: Truth, camera_xy_mm: F64, shot: int) -> F64:
    """Return where the optical axis truly is when a place was commanded, shape (2,) [mm]."""
    o = truth.optics
    error = shot_rng(truth, shot, 0).normal(size=2) * o.position_sd_mm
    axis: F64 = camera_xy_mm + error + np.array(o.offset_error_mm)
    return axis
