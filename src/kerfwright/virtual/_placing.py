"""Dots, strips and specks as rows for the kernel: where they are seen, and how their mm lie."""

from __future__ import annotations

from math import cos, pi, sin

import numpy as np
from scipy.optimize import brentq

from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.virtual._view import View

FINE = 2
"""Fine pixels per pixel: light is blurred on them before the pixels gather it."""

_RIM = 12
_STRIP_FAR, _STRIP_HALF = 1.5, 2.0
"""A strip reaches this many diameters beyond its edge, and to either side."""


def dot_rows(view: View) -> tuple[F64, F64]:
    """Return rows of the dots in view, shape (D, 9), and their outlines, (D, 23, 2)."""
    t = view.truth
    printed = np.ones(len(t.marks_xy_mm), bool)
    printed[list(t.blemishes.missing)] = False
    radius = t.diameter_mm / 2.0
    centre, planes, reach = _planes_of_marks(view, np.flatnonzero(printed), radius)
    seen = _in_view(view, centre, reach)
    rows = _rows(centre[seen], planes[seen], (radius, t.surface.ink), 1.1 * reach[seen] + 4.0)
    return rows, t.rag_mm[printed][seen]


def strip_rows(view: View) -> F64:
    """Return rows of the strips in view, shape (S, 13): pieces cut off first, tape over them."""
    t = view.truth
    gone = set(t.blemishes.missing)
    kinds = ((t.blemishes.half_cut, t.surface.bed), (t.blemishes.covered, t.surface.tape))
    rows = [
        _strip_row(view, int(mark), share, angle, light)
        for strips, light in kinds
        for mark, share, angle in strips.tolist()
        if int(mark) not in gone
    ]
    table = np.array(rows).reshape(-1, 13)
    return table[_in_view(view, table[:, :2], table[:, 12])]


def speck_rows(view: View) -> F64:
    """Return rows of the specks in view, shape (K, 9)."""
    t = view.truth
    xy, radius, light = t.dirt[:, :2], t.dirt[:, 2], t.dirt[:, 3]
    centre = _fine(view.image_from_stock(xy))
    reach = FINE * t.optics.px_per_mm * radius * 1.5 + 2.0
    seen = np.flatnonzero(_in_view(view, centre, reach))
    ring = _ring(1.0)[None] * radius[seen, None, None] + xy[seen, None]
    planes = _planes(view, ring, radius[seen], of_stock=True)
    return _rows(centre[seen], planes, (radius[seen], light[seen]), reach[seen])


def segment_height(share: float) -> float:
    """Return how far from the centre, in radii, a chord cuts off a share of a disc's area.

    Negative beyond one half. The segment of angle a is (a - sin a) / 2 pi of the disc.
    """
    angle = brentq(lambda a: a - sin(a) - 2.0 * pi * share, 0.0, 2.0 * pi, xtol=1e-14)
    return float(cos(angle / 2.0))


def _strip_row(view: View, mark: int, share: float, angle: float, light: float) -> list[float]:
    diameter = view.truth.diameter_mm
    centre, planes, reach = _planes_of_marks(view, np.array([mark]), diameter / 2.0)
    near = segment_height(share) * diameter / 2.0
    sides = (cos(angle), sin(angle), near, near + _STRIP_FAR * diameter, _STRIP_HALF * diameter)
    far = 2.0 * (_STRIP_FAR + 0.5 + _STRIP_HALF) * float(reach[0])
    return [*centre[0], *planes[0].ravel(), *sides, light, far]


def _planes_of_marks(view: View, marks: I64, radius: float) -> tuple[F64, F64, F64]:
    """Return centre (fine px), plane and radius (fine px) of marks of the nominal sheet."""
    t = view.truth
    nominal = t.marks_xy_mm[marks]
    stock = t.stock_from_sheet(nominal) if len(nominal) else nominal
    centre = _fine(view.image_from_stock(stock + t.dot_shift_mm[marks]))
    ring = nominal[:, None] + _ring(radius)[None]
    planes = _planes(view, ring, np.full(len(marks), radius), of_stock=False)
    size = np.linalg.norm(np.linalg.inv(planes), axis=(1, 2)) / np.sqrt(2.0)
    return centre, planes, radius * size


def _planes(view: View, rings: F64, radius: F64, *, of_stock: bool) -> F64:
    """Return, per ring of points, mm per fine pixel: the mean slope over the ring, turned round.

    Over a whole ring the least-squares slope is the mean of p d^T, times 2 / radius^2.
    """
    flat = rings.reshape(-1, 2)
    if not len(flat):
        return np.zeros((0, 2, 2))
    seen = view.image_from_stock(flat) if of_stock else view.image_from_sheet(flat)
    fine = _fine(seen).reshape(rings.shape)
    away = rings - rings.mean(axis=1, keepdims=True)
    fine = fine - fine.mean(axis=1, keepdims=True)
    slope = 2.0 * np.einsum("nki,nkj->nij", fine, away) / (_RIM * radius[:, None, None] ** 2)
    return np.asarray(np.linalg.inv(slope))


def _ring(radius: float) -> F64:
    angle = 2.0 * pi * np.arange(_RIM) / _RIM
    return radius * np.column_stack((np.cos(angle), np.sin(angle)))


def _rows(centre: F64, planes: F64, values: tuple[object, object], reach: F64) -> F64:
    columns = np.column_stack((centre, planes.reshape(-1, 4)))
    both = [np.broadcast_to(np.asarray(v, np.float64), len(centre)) for v in values]
    return np.column_stack((columns, *both, reach))


def _fine(image_px: F64) -> F64:
    return FINE * (image_px + 0.5) - 0.5


def _in_view(view: View, centre: F64, reach: F64) -> BOOL:
    size = FINE * np.array(view.truth.optics.size_px)
    inside = (centre > -reach[:, None]) & (centre < size + reach[:, None])
    return np.asarray(inside.all(axis=1))
