"""One candidate: measured as a dot, refused with a reason, or dropped as something else."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.record import BOOL, F64
from kerfwright.registration.edges import EdgeCircle
from kerfwright.registration.finding_pixels import (
    CONTRAST,
    EDGE_H,
    LOG_BLUR,
    OVAL_C,
    OVAL_S,
    PAGE,
    RADIUS,
    TERMS,
    TONE,
    X,
    Y,
    fit_pixels,
    sector_sums,
)
from kerfwright.registration.finding_sectors import (
    Screened,
    centre_of_sectors,
    is_whole,
    lost_runs,
    noise_of,
    screen,
    sector_count,
    sectors_of_rays,
)

F32 = NDArray[np.float32]

LEAST_SEEN = 0.36
"""Share of the edge that must be seen."""
LEAST_RAYS = 0.4
MOST_RUNS = 3
"""A strip hides one or two arcs, a speck one more; a square shows four."""
FULL_SEEN = 0.9
MOST_OVAL = 0.03
MOST_ROUGH = 0.012
LEAST_CONTRAST = 6.0
"""Least contrast in units of the pixel noise."""
USUAL_BEND = 0.3
"""Bend of an edge's profile between that of a raw picture and that of one for a screen."""
_LEAST_NOISE = 0.004
_BEND_BLURS = 0.4  # a tone curve shifts every edge outwards or inwards by up to so many blurs
_ROUNDS = 4
_THIN_ABOVE_PX = 15.0


class Dot(NamedTuple):
    """A measured dot: centre (2,) [px], covariance (2, 2) [px2], share of the edge seen."""

    xy: F64
    cov: F64
    score: float
    diameter_px: float


class Refusal(NamedTuple):
    """A dot that cannot be measured, and why."""

    xy: F64
    code: str
    measured: float
    limit: float
    unit: str


class _Fit(NamedTuple):
    p: F64
    info: F64
    sums: F64
    seen: Screened
    noise: F64


def measure_dot(
    image: F32, edge: EdgeCircle, radius_px: float, tolerance: float, *, bend: float = -USUAL_BEND
) -> Dot | Refusal | None:
    """Return the dot of a candidate's edge circle, why it is refused, or None for other shapes.

    Parameters
    ----------
    image : ndarray of shape (H, W), float32
        Grey picture, dots dark.
    edge : EdgeCircle
        Circle through most of the candidate's edges.
    radius_px, tolerance : float
        Radius expected [px] and its largest departure as a share.
    bend : float
        Usual bend of the edge's profile: negative in a picture as taken, positive in its negative.
    """
    radius = float(edge.circle[2])
    if abs(radius - radius_px) > (tolerance + 0.03) * radius_px + 0.5:
        return None
    usual = max(float(np.median(edge.step)), 1e-9)
    met = (np.abs(edge.off) < max(0.03 * radius, 0.9)) & (edge.step > 0.3 * usual)
    if met.mean() < LEAST_RAYS:
        return None
    fit = _fitted(image, edge, met, bend)
    if fit is not None:
        slack = tolerance * radius_px + _BEND_BLURS * float(np.exp(fit.p[LOG_BLUR]))
        fit = fit if abs(fit.p[RADIUS] - radius_px) <= slack else None
    if fit is None or not _is_dot(fit):
        return None
    return _refused(image, fit) or _dot(fit)


def _start(image: F32, edge: EdgeCircle) -> F64:
    """Return first parameters: levels as medians of the middle and of the ring outside."""
    x, y, radius = edge.circle
    p = np.zeros(TERMS)
    p[[X, Y, RADIUS]] = x, y, radius
    p[LOG_BLUR] = np.log(max(0.04 * radius, 1.0))
    rise = float(np.median(edge.step))
    ink = _level(image, x, y, 0.75 * radius)
    p[PAGE], p[CONTRAST] = ink + rise, rise
    return p


def _level(image: F32, x: float, y: float, reach: float) -> float:
    """Return the level of the ink in a square inside the dot, beside whatever lies over it."""
    half = max(int(reach * 0.7), 1)
    i, j = round(x), round(y)
    part = image[max(j - half, 0) : j + half + 1, max(i - half, 0) : i + half + 1]
    return float(np.percentile(part, 10)) if part.size else 0.0


def _prior(p: F64) -> F64:
    """Return the precision of each parameter's prior.

    Dots seen within some degrees of square on are oval by less than 0.2 % of their radius, the
    light changes by a few percent across a dot, and a tone curve bends the profile by some tenths.
    """
    sd = np.full(TERMS, np.inf)
    sd[[OVAL_C, OVAL_S]] = 0.002 * p[RADIUS]
    sd[[PAGE + 1, PAGE + 2, CONTRAST + 1, CONTRAST + 2]] = 0.1 * p[CONTRAST]
    sd[TONE] = 0.15
    return 1.0 / sd**2


def _reach(p: F64, *, is_first: bool) -> float:
    """Return how far out pixels count: enough of the page, but short of the art around."""
    blur = float(np.exp(p[LOG_BLUR]))
    radius = float(p[RADIUS])
    if is_first:
        return radius + max(0.2 * radius, 5.0)
    return radius + float(np.clip(2.3 * blur + 1.0, 0.1 * radius, max(0.22 * radius, 5.0)))


def _fitted(image: F32, edge: EdgeCircle, met: BOOL, bend: float) -> _Fit | None:
    """Return the fit to the pixels after its sectors were screened, None where none are left."""
    start = _start(image, edge)
    start[TONE] = bend
    if start[CONTRAST] <= 0.0:
        return None
    sectors = sector_count(start[RADIUS])
    kept = sectors_of_rays(met, sectors)
    at = start[:3].copy()
    noise = np.full(2, 0.05 * start[CONTRAST])
    prior, p = _prior(start), start
    floor = max(0.3, _LEAST_NOISE * start[CONTRAST])
    for turn in range(_ROUNDS):
        outer = _reach(p, is_first=turn == 0)
        begin = np.where(prior > 0.0, start, p)
        thin = 2 if start[RADIUS] > _THIN_ABOVE_PX else 1
        p, _, _ = fit_pixels(image, begin, at, kept.astype(float), outer, noise, prior, 6, thin)
        if p[CONTRAST] <= 0.0 or abs(p[RADIUS] - at[2]) > 0.12 * at[2]:
            return None
        sums = sector_sums(image, p, at, sectors, outer, noise)
        noise = noise_of(sums, kept, floor)
        before, kept = kept, screen(sums, p, kept, noise).kept
        if turn > 0 and (before == kept).all():
            break
        if kept.mean() < 0.8 * LEAST_SEEN:
            return None
    outer = _reach(p, is_first=False)
    begin = np.where(prior > 0.0, start, p)
    p, info, _ = fit_pixels(image, begin, at, kept.astype(float), outer, noise, prior, 12, 1)
    sums = sector_sums(image, p, at, sectors, outer, noise)
    seen = screen(sums, p, kept, noise)
    return _Fit(p, info, sums, seen._replace(kept=kept), noise_of(sums, kept, floor))


def _is_dot(fit: _Fit) -> bool:
    """Return whether the candidate is a round, dark, whole disc."""
    p, kept = fit.p, fit.seen.kept
    lost = 1.0 - float(kept.mean())
    shift = fit.seen.shift[kept]
    oval = float(np.hypot(p[OVAL_C], p[OVAL_S]))
    noise = float(np.sqrt(np.median(1.0 / np.maximum(fit.sums[kept, EDGE_H], 1e-12))))
    rough = float(np.sqrt(np.mean((shift - shift.mean()) ** 2)))
    return (
        p[CONTRAST] > LEAST_CONTRAST * float(fit.noise.max())
        and np.exp(p[LOG_BLUR]) < 0.25 * p[RADIUS]
        and oval < MOST_OVAL * p[RADIUS]
        and rough < MOST_ROUGH * p[RADIUS] + 3.0 * noise
        and is_whole(fit.sums, p)
        and (lost_runs(kept) <= MOST_RUNS or lost < 1.0 - FULL_SEEN)
    )


def _refused(image: F32, fit: _Fit) -> Refusal | None:
    """Return why a dot cannot be measured: the frame cuts it, or too little of its edge shows."""
    p = fit.p
    height, width = image.shape
    room = min(p[X], p[Y], width - 1 - p[X], height - 1 - p[Y]) + 0.5
    need = p[RADIUS] + 1.5 * np.exp(p[LOG_BLUR])
    if room < need:
        return Refusal(p[:2].copy(), "LOK-110", float(need - room), 0.0, "px")
    share = float(fit.seen.kept.mean())
    if share < LEAST_SEEN:
        return Refusal(p[:2].copy(), "LOK-111", 100.0 * share, 100.0 * LEAST_SEEN, "%")
    return None


def _dot(fit: _Fit) -> Dot:
    """Return the dot: its centre and covariance by its sectors' edges."""
    p, kept = fit.p, fit.seen.kept
    centre = centre_of_sectors(fit.sums, fit.seen, p, _inflation(fit))
    share = float(kept.mean())
    return Dot(p[:2] + centre.move, centre.cov, share, 2.0 * float(p[RADIUS]))


def _inflation(fit: _Fit) -> float:
    """Return how much the unknown light, blur and tone widen an edge, at least 1."""
    kept = fit.seen.kept
    phi = (2.0 * np.pi * (np.arange(len(kept)) + 0.5) / len(kept) - np.pi)[kept]
    design = np.column_stack((np.cos(phi), np.sin(phi), np.ones(len(phi))))
    alone = np.linalg.inv((design / fit.seen.variance[kept, None]).T @ design)
    whole = np.linalg.inv(fit.info)
    return float(max(np.trace(whole[:2, :2]) / np.trace(alone[:2, :2]), 1.0))
