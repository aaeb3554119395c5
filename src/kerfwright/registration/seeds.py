"""Where in a picture a dot could be: a coarse search by a disc in a ring."""

from __future__ import annotations

from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.record import F64

F32 = NDArray[np.float32]

COARSE_RADIUS_PX = 7.0
"""The picture is reduced until a dot has about this radius."""
LEAST_LIKENESS = 0.42
"""Correlation with the template below which nothing is tried; a dot two thirds visible has 0.6."""
RING = 1.27
"""Outer radius of the template in radii: art may begin at 0.8 mm from a dot of 6 mm."""


class Seeds(NamedTuple):
    """K places to try, best first: `xy` (K, 2) [px] and `likeness` (K,), 0 to 1."""

    xy: F64
    likeness: F64


def find_seeds(image: F32, radius_px: float) -> Seeds:
    """Return places of a picture that look like a dark disc of about this radius.

    Parameters
    ----------
    image : ndarray of shape (H, W), float32
        Grey picture, dots dark.
    radius_px : float
        Radius expected [px].

    Returns
    -------
    Seeds
        Places good to about a twelfth of the radius; cut dots whose middle is in the picture
        are among them.
    """
    step = max(int(radius_px / COARSE_RADIUS_PX), 1)
    margin = int(np.ceil(RING * radius_px / step)) * step
    small = _reduced(image, step, margin)
    likeness = _likeness(small, radius_px / step)
    places, values = _peaks(likeness, radius_px / step)
    xy = places * step + (step - 1) / 2.0 - margin
    inside = ((xy > -1.0) & (xy < np.array(image.shape[::-1]))).all(axis=1)
    return Seeds(xy[inside], values[inside])


def _reduced(image: F32, step: int, margin: int) -> F32:
    """Return the picture with a margin, each `step` x `step` pixels averaged."""
    height, width = image.shape
    below, right = -(height + 2 * margin) % step, -(width + 2 * margin) % step
    padded = cv2.copyMakeBorder(
        image, margin, margin + below, margin, margin + right, cv2.BORDER_REPLICATE
    )
    if step == 1:
        return np.asarray(padded, np.float32)
    size = (padded.shape[1] // step, padded.shape[0] // step)
    return np.asarray(cv2.resize(padded, size, interpolation=cv2.INTER_AREA), np.float32)


def _template(radius: float) -> tuple[F32, F32]:
    """Return disc against ring with mean 0 and norm 1 over its support, and the support."""
    reach = int(np.ceil(RING * radius)) + 1
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    r = np.hypot(x, y)
    support = np.clip(RING * radius - r + 0.5, 0.0, 1.0)
    light = np.clip(r - radius + 0.5, 0.0, 1.0)
    shape = support * (light - (light * support).sum() / support.sum())
    shape /= np.sqrt((shape * shape / np.maximum(support, 1e-9)).sum())
    return shape.astype(np.float32), support.astype(np.float32)


def _likeness(small: F32, radius: float) -> F32:
    """Return the normalised correlation with the template at every pixel."""
    shape, support = _template(radius)
    total = float(support.sum())
    level = small - small.mean(dtype=np.float64).astype(np.float32)
    edge = cv2.BORDER_REPLICATE
    match = cv2.filter2D(level, cv2.CV_32F, shape, borderType=edge)
    mean = cv2.filter2D(level, cv2.CV_32F, support / total, borderType=edge)
    square = cv2.filter2D(level * level, cv2.CV_32F, support / total, borderType=edge)
    spread = np.sqrt(np.maximum(square - mean * mean, 0.0) * total)
    floor = 1e-3 * float(np.abs(level).max(initial=0.0)) * np.sqrt(total) + 1e-12
    return np.asarray(match / np.maximum(spread, floor), np.float32)


def _peaks(likeness: F32, radius: float) -> tuple[F64, F64]:
    """Return local maxima over half a radius, refined by a parabola, best first."""
    reach = max(int(radius / 2.0), 1)
    around = cv2.dilate(likeness, np.ones((2 * reach + 1, 2 * reach + 1), np.uint8))
    is_peak = (likeness >= around) & (likeness > LEAST_LIKENESS)
    is_peak[[0, -1], :] = is_peak[:, [0, -1]] = False
    row, column = np.nonzero(is_peak)
    values = likeness[row, column].astype(np.float64)
    dx = _vertex(likeness[row, column - 1], values, likeness[row, column + 1])
    dy = _vertex(likeness[row - 1, column], values, likeness[row + 1, column])
    order = np.lexsort((column, row, -values))
    return np.column_stack((column + dx, row + dy))[order], values[order]


def _vertex(before: F32, at: F64, after: F32) -> F64:
    """Return where the parabola through three values has its top, within half a step."""
    left, right = before.astype(np.float64), after.astype(np.float64)
    bend = left - 2.0 * at + right
    shift = np.where(bend < 0.0, 0.5 * (left - right) / np.where(bend < 0.0, bend, 1.0), 0.0)
    return np.asarray(np.clip(shift, -0.5, 0.5), np.float64)
