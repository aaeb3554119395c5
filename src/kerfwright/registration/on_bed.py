"""Marks in one picture of the whole bed, taken at an angle: where a thrown sheet roughly lies."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from kerfwright.errors import Finding, Severity, UsageError
from kerfwright.geometry.record import F64
from kerfwright.registration.finding import LEAST_DIAMETER_PX, find_marks
from kerfwright.registration.matching_words import said
from kerfwright.registration.rectify import Homography

Picture = NDArray[np.uint8] | NDArray[np.uint16]
Box = tuple[float, float, float, float]

LEAST_SEEN_PX = 6.0
"""Least diameter of a mark in the picture itself; smaller ones melt into the print."""
_ROOM = 1.2
_MOST_VIEW_PX = 50_000_000
_LOOSE = 0.25  # a picture this coarse tells a diameter to a quarter


def marks_on_bed(
    image: Picture, table_from_picture: Homography, *, bed_mm: Box, diameter_mm: float
) -> tuple[F64, tuple[Finding, ...]]:
    """Return roughly where marks lie, from a picture of the whole bed.

    The picture is straightened to a view from above, in which marks are round again.

    Parameters
    ----------
    image : ndarray of shape (H, W), uint8 or uint16
        The picture.
    table_from_picture : Homography
        From known points, see `fit_homography`.
    bed_mm : tuple of float
        x0, y0, x1, y1 of the bed [mm].
    diameter_mm : float
        Of a mark [mm].

    Returns
    -------
    ndarray of shape (K, 2), float
        Centres of what looks like a mark, table frame [mm].
    tuple of Finding
        That the picture is too coarse, or shows nothing.

    Raises
    ------
    UsageError
        If the bed or the mark is empty.
    GeometryError
        If the bed passes the horizon of the picture.
    """
    x0, y0, x1, y1 = bed_mm
    if not (x0 < x1 and y0 < y1 and diameter_mm > 0.0):
        raise UsageError(f"a bed of {bed_mm} mm with marks of {diameter_mm} mm; none may be empty")
    finest, coarsest = _px_per_mm(table_from_picture.inverse, bed_mm)
    seen_px = coarsest * diameter_mm
    if seen_px < LEAST_SEEN_PX:
        return np.zeros((0, 2)), (said("LOK-150", Severity.BLOCKS, seen_px, LEAST_SEEN_PX, "px"),)
    most = math.sqrt(_MOST_VIEW_PX / ((x1 - x0) * (y1 - y0)))
    scale = min(max(finest, _ROOM * LEAST_DIAMETER_PX / diameter_mm), most)
    straight = straightened(image, table_from_picture, bed_mm=bed_mm, px_per_mm=scale)
    found = find_marks(straight, diameter_px=scale * diameter_mm, diameter_tolerance=_LOOSE)
    place = found.xy / scale * (1.0, -1.0) + (x0 + 0.5 / scale, y1 - 0.5 / scale)
    return np.asarray(place, np.float64), found.findings


def straightened(
    image: Picture, table_from_picture: Homography, *, bed_mm: Box, px_per_mm: float
) -> Picture:
    """Return the bed seen from above, row 0 at its far edge.

    Parameters
    ----------
    image : ndarray of shape (H, W), uint8 or uint16
        The picture.
    table_from_picture : Homography
        From known points.
    bed_mm : tuple of float
        x0, y0, x1, y1 of the bed [mm].
    px_per_mm : float
        Scale wanted [px/mm].
    """
    x0, y0, x1, y1 = bed_mm
    size = (round((x1 - x0) * px_per_mm), round((y1 - y0) * px_per_mm))
    step = 1.0 / px_per_mm
    table_from_view = np.array(
        ((step, 0.0, x0 + step / 2.0), (0.0, -step, y1 - step / 2.0), (0.0, 0.0, 1.0))
    )
    back = table_from_picture.inverse.matrix @ table_from_view
    return np.asarray(  # type: ignore[return-value] # the type of its input
        cv2.warpPerspective(image, back, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    )


def _px_per_mm(picture_from_table: Homography, bed_mm: Box) -> tuple[float, float]:
    """Return the finest and the coarsest scale over the corners of the bed, by area [px/mm]."""
    x0, y0, x1, y1 = bed_mm
    corners = np.array(((x0, y0), (x1, y0), (x1, y1), (x0, y1)))
    step = 1e-3 * min(x1 - x0, y1 - y0)
    inward = np.sign(np.array(((x0 + x1) / 2.0, (y0 + y1) / 2.0)) - corners) * step
    at = picture_from_table.map(corners)
    along = picture_from_table.map(corners + inward * (1.0, 0.0)) - at
    across = picture_from_table.map(corners + inward * (0.0, 1.0)) - at
    area = np.abs(along[:, 0] * across[:, 1] - along[:, 1] * across[:, 0])
    scale = np.sqrt(area) / step
    shortest = np.minimum(np.hypot(*along.T), np.hypot(*across.T)) / step
    return float(scale.max()), float(shortest.min())
