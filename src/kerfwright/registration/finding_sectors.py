"""Which sectors of a dot are seen as the model has them, and what their edges tell."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from kerfwright.geometry.record import BOOL, F64
from kerfwright.registration.edges import RAYS
from kerfwright.registration.finding_pixels import (
    ABS_IN,
    ABS_OUT,
    CHI,
    CONTRAST,
    EDGE_G,
    EDGE_H,
    LIGHT_X,
    LIGHT_Y,
    LOG_BLUR,
    N_ALL,
    N_DARK,
    N_DEEP,
    N_EDGE,
    N_IN,
    N_OUT,
    OVAL_C,
    OVAL_S,
    R_IN,
    R_OUT,
    RADIUS,
)

LEAST_PIXELS = 3
_NORMAL_MEAN = 0.7979  # mean of the absolute value of a standard normal variable
_MAD = 1.4826
_GRID_PX = 0.12  # a sharp edge seems to move as it passes the pixels' grid
_SHARED = 3.0  # neighbours over which the wander of an edge is much the same
_MOST_LIGHT = 0.10  # a pin hole or a scratch, or a speck in the very middle
_MOST_LIGHT_ASIDE = 0.22  # a speck; the hole of a ring is in the middle
_ASIDE_R = 0.15
_BORDER_BLURS = 2.0  # how far the blurred border of a strip reaches along the edge


class Screened(NamedTuple):
    """`kept` (S,); each sector's edge less the model `shift` (S,) and its noise variance [px]."""

    kept: BOOL
    shift: F64
    variance: F64


def sector_count(radius_px: float) -> int:
    """Return how many sectors a dot is cut into: at least 2 px of edge each, at most 60."""
    return int(np.clip(2.0 * np.pi * radius_px / 2.0, 16, 60))


def sectors_of_rays(is_good: BOOL, sectors: int) -> BOOL:
    """Return the sectors in which most rays met the circle; sector 0 begins at minus pi."""
    angle = 2.0 * np.pi * np.arange(RAYS) / RAYS
    k = (((angle + np.pi) / (2.0 * np.pi) * sectors).astype(int)) % sectors
    met = np.bincount(k, weights=is_good, minlength=sectors)
    all_rays = np.bincount(k, minlength=sectors)
    return np.asarray((met >= 0.5 * np.maximum(all_rays, 1)) | (all_rays == 0), bool)


def noise_of(sums: F64, kept: BOOL, floor: float) -> F64:
    """Return the noise of a pixel on ink and on the page, from kept sectors [grey levels]."""
    found = []
    for total, count in ((ABS_IN, N_IN), (ABS_OUT, N_OUT)):
        full = kept & (sums[:, count] >= LEAST_PIXELS)
        mean = sums[full, total] / sums[full, count]
        found.append(max(float(np.median(mean)) / _NORMAL_MEAN if full.any() else 0.0, floor))
    return np.array(found)


def screen(sums: F64, p: F64, kept: BOOL, noise: F64) -> Screened:
    """Return the sectors to keep: edge in place, both sides as flat as elsewhere.

    Levels and shifts are compared with the median over the sectors kept so far, so that what all
    sectors share, such as a profile that is no Gaussian, costs none.
    """
    held = np.maximum(sums[:, EDGE_H], 1e-12)
    shift, variance = sums[:, EDGE_G] / held, 1.0 / held
    usual_h = float(np.median(held[kept])) if kept.any() else 0.0
    spread = _MAD * _middle(np.abs(shift - _middle(shift, kept)), kept)
    grid = _GRID_PX * max(1.0 - float(np.exp(p[LOG_BLUR])), 0.0)
    wander2 = max(spread, _USUAL_WANDER * p[RADIUS]) ** 2 + grid**2
    reach = 4.5 * np.sqrt(wander2 + variance + _carried(kept, variance + wander2))
    in_place = np.abs(shift - _middle(shift, kept)) < reach
    flat_in = _is_flat(sums[:, R_IN], sums[:, N_IN], kept, noise[0], 0.015 * p[CONTRAST])
    flat_out = _is_flat(sums[:, R_OUT], sums[:, N_OUT], kept, noise[1], 0.025 * p[CONTRAST])
    pixels = np.maximum(sums[:, N_EDGE], 1.0)
    chi = sums[:, CHI] / pixels
    plain = chi < 4.0 * max(_middle(chi, kept), 1.0) + 2.0 + 2.0 * reach**2 * usual_h / pixels
    seen = (sums[:, N_ALL] >= LEAST_PIXELS) & (held > 0.3 * usual_h)
    good = in_place & flat_in & flat_out & plain & seen
    grow = int(np.ceil(_BORDER_BLURS * np.exp(p[LOG_BLUR]) / (2.0 * np.pi * p[RADIUS] / len(kept))))
    return Screened(~_grown(~good, grow), shift, variance)


def _carried(kept: BOOL, variance: F64) -> F64:
    """Return the variance of the circle itself at each sector, as the kept ones leave it [px2].

    A short arc says little of the edge across from it, which must not be dropped for that.
    """
    phi = 2.0 * np.pi * np.arange(len(kept)) / len(kept)
    design = np.column_stack((np.cos(phi), np.sin(phi), np.ones(len(phi))))
    info = (design * (kept / (_SHARED * variance))[:, None]).T @ design
    cov = np.linalg.inv(info + 1e-9 * (np.trace(info) + 1e-9) * np.eye(3))
    return np.asarray(np.einsum("ki,ij,kj->k", design, cov, design), np.float64)


def _middle(values: F64, kept: BOOL) -> float:
    return float(np.median(values[kept])) if kept.any() else 0.0


def _is_flat(total: F64, count: F64, kept: BOOL, noise: float, allowed: float) -> BOOL:
    """Return where the mean residual of one side agrees with the other sectors."""
    n = np.maximum(count, 1.0)
    mean = total / n
    away = np.abs(mean - _middle(mean, kept))
    spread = min(_MAD * _middle(away, kept), 2.0 * allowed)
    return np.asarray(away < allowed + 4.0 * (spread + noise / np.sqrt(n)), bool)


def _grown(bad: BOOL, reach: int) -> BOOL:
    """Return bad sectors and their neighbours; a blurred border reaches into them.

    A speck, up to two sectors wide, reaches less far than the border of a strip.
    """
    one = bad | np.roll(bad, 1) | np.roll(bad, -1)
    run = bad & np.roll(bad, 1) & np.roll(bad, -1)  # the inside of runs of three and more
    wide = [np.roll(run, k) for k in range(-reach - 1, reach + 2)]
    return np.asarray(one | np.any(wide, axis=0), bool)


def lost_runs(kept: BOOL) -> int:
    """Return how many runs of lost sectors there are around the dot."""
    return int(np.count_nonzero(kept & ~np.roll(kept, -1)))


def is_whole(sums: F64, p: F64) -> bool:
    """Return whether the disc is dark throughout, but for what a strip over its edge hides.

    A strip that hides a part of the disc leaves it through the edge; the hole of a ring or of a
    letter does not. A bright speck of dirt makes a hole too, but rarely in the middle.
    """
    deep = max(float(sums[:, N_DEEP].sum()), 1.0)
    count = deep - float(sums[:, N_DARK].sum())
    light = count / deep
    aside = float(np.hypot(sums[:, LIGHT_X].sum(), sums[:, LIGHT_Y].sum())) / max(count, 1.0)
    most = _MOST_LIGHT_ASIDE if aside > _ASIDE_R * p[RADIUS] else _MOST_LIGHT
    inside = sums[:, R_IN] / np.maximum(sums[:, N_IN], 1.0)
    pierced = float(np.mean(inside > 0.12 * p[CONTRAST]))
    return light < most + 2.2 * pierced


class Centre(NamedTuple):
    """What a centre is moved by (2,) [px] and its covariance (2, 2) [px2]."""

    move: F64
    cov: F64


def centre_of_sectors(sums: F64, seen: Screened, p: F64, inflation: float) -> Centre:
    """Return the centre that the kept sectors' edges give by generalised least squares.

    Each sector's edge is off the circle by pixel noise, by the wander of a printed edge, which
    neighbours share, and by an oval seen at a slant. The wander is spread evenly over the harmonics
    2 to 24 of the circumference: they leave a full circle in place but not an arc. Its size is
    taken from the scatter beyond noise, drawn towards a usual one where few sectors tell.

    Parameters
    ----------
    sums : ndarray of shape (S, COLUMNS), float
        Sums over the sectors' pixels.
    seen : Screened
        Sectors and their edges less the model.
    p : ndarray of shape (TERMS,), float
        The model.
    inflation : float
        By how much noise beyond the sectors' own widens their edges' variance.
    """
    kept, radius = seen.kept, float(p[RADIUS])
    phi = (2.0 * np.pi * (np.arange(len(kept)) + 0.5) / len(kept) - np.pi)[kept]
    oval = np.column_stack((np.cos(2.0 * phi), np.sin(2.0 * phi)))
    edge = seen.shift[kept] + oval @ p[[OVAL_C, OVAL_S]]
    noise = np.diag(seen.variance[kept] * inflation)
    order = np.arange(2, min(_WAVES, len(kept) // 2) + 1)
    wander = np.cos((phi[:, None] - phi)[..., None] * order).mean(axis=-1)
    slant = (_USUAL_OVAL * radius) ** 2 * (oval @ oval.T)
    design = np.column_stack((np.cos(phi), np.sin(phi), np.ones(len(phi))))
    size = _wander2(edge, design, noise + slant, wander, _USUAL_WANDER * radius)
    dirt = (_DIRT + _DIRT_NEAR * (1.0 - float(kept.mean()))) * size
    dirt += (_SPILL * np.exp(p[LOG_BLUR]) * _unrest(sums[kept]) / p[CONTRAST]) ** 2
    spread = noise + slant + size * wander + dirt * np.eye(len(phi))
    weighted = np.linalg.solve(spread, design)
    cov = np.linalg.inv(design.T @ weighted)
    found = cov @ (weighted.T @ edge)
    return Centre(found[:2], cov[:2, :2])


def _unrest(sums: F64) -> float:
    """Return how much the page's level differs from sector to sector [grey levels].

    Art that the blur spreads up to the edge shifts it by about that share of the contrast, in
    widths of the blur.
    """
    level = sums[:, R_OUT] / np.maximum(sums[:, N_OUT], 1.0)
    return float(np.std(level)) if len(level) else 0.0


_SPILL = 2.0
_WAVES = 24
_TRUST = 10.0  # sectors' worth of belief in the usual wander
_USUAL_WANDER = 0.002
_USUAL_OVAL = 0.001
_DIRT = 0.1  # share of the wander that neighbours do not have in common
_DIRT_NEAR = 0.5  # more of it where something lies over or beside the dot


def _wander2(edge: F64, design: F64, noise: F64, wander: F64, usual_px: float) -> float:
    """Return the variance of the edge's wander [px2], from residuals of plain least squares."""
    free = np.eye(len(edge)) - design @ np.linalg.pinv(design)
    left = free @ edge
    excess = float(left @ left - np.trace(free @ noise))
    told = float(np.trace(free @ wander))
    return max((excess + _TRUST * usual_px**2) / (told + _TRUST), 0.1 * usual_px**2)
