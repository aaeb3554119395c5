"""Dots in a photograph: found, measured, refused with a reason."""

from __future__ import annotations

from typing import Literal, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from kerfwright.errors import Finding, Place, Severity, UsageError
from kerfwright.geometry.record import F64
from kerfwright.model.marks import FoundMarks, MarkKind
from kerfwright.registration.edges import edge_circle
from kerfwright.registration.finding_dot import USUAL_BEND, Dot, Refusal, measure_dot
from kerfwright.registration.looking_photo import MOST_PIXELS
from kerfwright.registration.seeds import find_seeds

F32 = NDArray[np.float32]

LEAST_DIAMETER_PX = 10.0
DARK_SHARE = 0.10
"""A picture whose brightest parts stay below this share of full scale is too dark."""
FLAT_SHARE = 0.03
"""A picture whose levels spread less than this share of full scale shows nothing."""
MOST_SEEDS = 4000


def find_marks(
    image: NDArray[np.uint8] | NDArray[np.uint16],
    *,
    diameter_px: float,
    kind: MarkKind | str = MarkKind.DOT,
    contrast: Literal["dark", "light", "either"] = "dark",
    diameter_tolerance: float = 0.08,
) -> FoundMarks:
    """Return the marks of one picture with their covariances.

    Parameters
    ----------
    image : ndarray of shape (H, W) or (H, W, 3), uint8 or uint16
        Grey, or red, green, blue.
    diameter_px : float
        Diameter expected, at least 10 [px].
    kind : MarkKind or str, default 'dot'
        What they look like.
    contrast : {'dark', 'light', 'either'}, default 'dark'
        Dark dots on a light page, light dots on a dark one, or both.
    diameter_tolerance : float, default 0.08
        Largest departure from the diameter, as a share of it.

    Returns
    -------
    FoundMarks
        Sorted by rows, then columns. Dots cut by the frame, or hidden by more than half of their
        edge, are refused and said.

    Raises
    ------
    UsageError
        If the picture is empty, too large, or of another shape or type; if the diameter is below
        10 px or does not fit into the picture; if the kind is not known.

    Notes
    -----
    A coarse search, a robust circle through edges on rays, then a fit of disc, blur, page and
    contrast to the pixels; sectors that are covered or dirty are left out. The covariance holds
    pixel noise and the wander of the printed edge. Right for dots of 10 to some 300 px that are
    blurred by less than a fifth of their radius and seen within some 10 degrees of square on.
    """
    grey, full = _checked(image, diameter_px, kind)
    if not 0.0 < diameter_tolerance <= 0.3:
        msg = f"diameter_tolerance is {diameter_tolerance}, must be above 0 and at most 0.3"
        raise UsageError(msg)
    signs = {"dark": (1,), "light": (-1,), "either": (1, -1)}.get(contrast)
    if signs is None:
        msg = f"contrast is {contrast!r}; choose dark, light or either"
        raise UsageError(msg)
    dots: list[Dot] = []
    refused: list[Refusal] = []
    if not (poor := _poor_picture(grey, full)):
        for sign in signs:
            seen = grey if sign > 0 else np.float32(full) - grey
            good, bad = _dots_of(seen, diameter_px / 2.0, diameter_tolerance, -sign * USUAL_BEND)
            dots += good
            refused += bad
    return _result(dots, refused, poor, grey, full)


def _checked(
    image: NDArray[np.uint8] | NDArray[np.uint16], diameter_px: float, kind: MarkKind | str
) -> tuple[F32, float]:
    """Return the picture in grey and its full scale."""
    known = ", ".join(MarkKind)
    if kind not in set(MarkKind):
        raise UsageError(f"marks of kind {kind!r} are not known; known are {known}")
    picture = np.asarray(image)
    if picture.dtype not in (np.uint8, np.uint16):
        raise UsageError(f"the picture holds {picture.dtype}; give uint8 or uint16")
    if picture.ndim not in (2, 3) or (picture.ndim == 3 and picture.shape[2] != 3):
        raise UsageError(f"the picture has shape {picture.shape}; give (H, W) or (H, W, 3)")
    height, width = picture.shape[:2]
    if not np.isfinite(diameter_px) or diameter_px < LEAST_DIAMETER_PX:
        msg = f"diameter_px is {diameter_px}, least is {LEAST_DIAMETER_PX}; take a closer picture"
        raise UsageError(msg)
    if min(height, width) < diameter_px:
        msg = f"the picture is {width} x {height} px, a mark of {diameter_px:.1f} px has no room"
        raise UsageError(msg)
    if height * width > MOST_PIXELS:
        msg = (
            f"the picture has {height * width / 1e6:.0f} megapixels, most are "
            f"{MOST_PIXELS / 1e6:.0f}; send a smaller picture"
        )
        raise UsageError(msg)
    full = 255.0 if picture.dtype == np.uint8 else 65535.0
    if picture.ndim == 3:
        picture = cv2.cvtColor(np.ascontiguousarray(picture), cv2.COLOR_RGB2GRAY)
    return np.ascontiguousarray(picture, np.float32), full


def _levels(grey: F32) -> tuple[float, float]:
    """Return the levels that all but 0.2 % of the pixels lie between, from a thinned picture."""
    step = max(int(np.sqrt(grey.size / 250_000)), 1)
    low, high = np.percentile(grey[::step, ::step], (0.2, 99.8))
    return float(low), float(high)


def _poor_picture(grey: F32, full: float) -> list[Finding]:
    """Return why nothing can be seen in a picture, empty where something may."""
    low, high = _levels(grey)
    if high - low < FLAT_SHARE * full:
        is_dark = high < DARK_SHARE * full
        code, limit = ("LOK-102", DARK_SHARE) if is_dark else ("LOK-103", FLAT_SHARE)
        return [_said(code, Severity.WARN, high / full, limit, spread=(high - low) / full)]
    return []


class _Tried(NamedTuple):
    dots: list[Dot]
    refused: list[Refusal]


def _dots_of(grey: F32, radius_px: float, tolerance: float, bend: float) -> _Tried:
    """Return dark dots, and dots that were refused; each place is tried once."""
    seeds = find_seeds(grey, radius_px)
    taken = np.zeros((0, 2))
    tried = _Tried([], [])
    for x, y in seeds.xy[:MOST_SEEDS]:
        if _near(taken, x, y, 0.5 * radius_px):
            continue
        seen = edge_circle(grey, float(x), float(y), radius_px)
        met = measure_dot(grey, seen, radius_px, tolerance, bend=bend)
        if met is None or _near(taken, met.xy[0], met.xy[1], 0.5 * radius_px):
            continue
        taken = np.vstack((taken, met.xy))
        if isinstance(met, Dot):
            tried.dots.append(met)
        else:
            tried.refused.append(met)
    return tried


def _near(taken: F64, x: float, y: float, within: float) -> bool:
    away = taken - (x, y)
    return bool(((away * away).sum(axis=1) < within * within).any())


def _result(
    dots: list[Dot], refused: list[Refusal], poor: list[Finding], grey: F32, full: float
) -> FoundMarks:
    dots = sorted(dots, key=lambda d: (d.xy[1], d.xy[0]))
    refused = sorted(refused, key=lambda d: (d.xy[1], d.xy[0]))
    findings = [*poor, *(_refusal(r) for r in refused)]
    if not dots and not poor:
        low, high = _levels(grey)
        dark = high < DARK_SHARE * full
        code = "LOK-102" if dark else "LOK-101"
        findings.append(
            _said(code, Severity.WARN, high / full, DARK_SHARE, spread=(high - low) / full)
        )
    return FoundMarks(
        xy=np.array([d.xy for d in dots]).reshape(-1, 2),
        cov=np.array([d.cov for d in dots]).reshape(-1, 2, 2),
        score=np.array([d.score for d in dots]),
        diameter_px=np.array([d.diameter_px for d in dots]),
        findings=tuple(findings),
    )


def _refusal(r: Refusal) -> Finding:
    params = {"x_px": float(r.xy[0]), "y_px": float(r.xy[1])}
    return _said(r.code, Severity.NOTE, r.measured, r.limit, unit=r.unit, **params)


def _said(
    code: str, severity: Severity, measured: float, limit: float, unit: str = "", **params: float
) -> Finding:
    return Finding(
        code=code,
        severity=severity,
        where=Place(stage="look", frame="image"),
        measured=measured,
        limit=limit,
        unit=unit,
        params=params,
    )
