"""From light on the fine canvas to codes of 8 bits: illumination, blur, pixels, noise, gamma."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from kerfwright.virtual._ground import F32
from kerfwright.virtual._placing import FINE
from kerfwright.virtual._things import EDGE_VARIANCE
from kerfwright.virtual._view import View, half_diagonal_px, shot_rng
from kerfwright.virtual.scene import U8, Optics

_HOT_PLACE, _HOT_WIDTH = (0.35, -0.25), 0.5
_SLOPE = (0.8, 0.6)


def gather(canvas: F32, optics: Optics) -> F32:
    """Return what the pixels gather of a blurred canvas, float32 (H, W)."""
    blurred = canvas
    variance = (FINE * optics.blur_px) ** 2 - EDGE_VARIANCE
    if variance > 0.0:
        sd = float(np.sqrt(variance))
        wide = 2 * int(np.ceil(5.0 * sd)) + 1
        blurred = cv2.GaussianBlur(
            blurred, (wide, wide), sd, borderType=cv2.BORDER_REPLICATE
        ).astype(np.float32, copy=False)
    if optics.defocus_px > 0.0:
        disc = _disc(FINE * optics.defocus_px)
        blurred = cv2.filter2D(blurred, cv2.CV_32F, disc, borderType=cv2.BORDER_REPLICATE).astype(
            np.float32, copy=False
        )
    size = optics.size_px
    return cv2.resize(blurred, size, interpolation=cv2.INTER_AREA).astype(np.float32, copy=False)


def illumination(optics: Optics) -> F32:
    """Return the light on each pixel: a slope, the fall of the lens, a hot spot; float32."""
    u, v, r2 = _place(optics)
    slope = (1.0 + (_SLOPE[0] * u + _SLOPE[1] * v)) / 2.0
    light = 1.0 - optics.light_fall * (0.5 * slope + 0.5 * r2)
    if optics.hot_spot > 0.0:
        away = (u - _HOT_PLACE[0]) ** 2 + (v - _HOT_PLACE[1]) ** 2
        light = light + optics.hot_spot * np.exp(-away / (2.0 * _HOT_WIDTH**2))
    return np.asarray(light, np.float32)


def glare(view: View, shot: int) -> F32:
    """Return the light of a soft streak somewhere in the picture, float32 (H, W)."""
    rng = shot_rng(view.truth, shot, 2)
    x, y = rng.uniform(-0.6, 0.6, size=2)
    angle, thin = rng.uniform(0.0, np.pi), rng.uniform(0.08, 0.2)
    u, v, _ = _place(view.truth.optics)
    along = (u - x) * np.cos(angle) + (v - y) * np.sin(angle)
    across = (v - y) * np.cos(angle) - (u - x) * np.sin(angle)
    streak = np.exp(-(along**2) / 0.5 - across**2 / (2.0 * thin**2))
    return np.asarray(view.truth.blemishes.glare * streak, np.float32)


def expose(light: F32, optics: Optics, rng: np.random.Generator) -> U8:
    """Return codes: light with shot and read noise, cut at full scale, through the gamma."""
    shot, read = optics.noise
    level = light
    if shot > 0.0 or read > 0.0:
        sd = np.sqrt(np.float32(shot**2) * np.maximum(light, 0.0) + np.float32(read**2))
        level = light + sd * rng.standard_normal(light.shape, dtype=np.float32)
    level = np.clip(level, 0.0, 1.0)
    if optics.gamma != 1.0:
        level = level ** np.float32(1.0 / optics.gamma)
    codes: U8 = np.rint(255.0 * level).astype(np.uint8)
    return codes


def _place(optics: Optics) -> tuple[F32, F32, F32]:
    """Return x, y and squared distance of each pixel from the middle, 1 at the corner."""
    w, h = optics.size_px
    half = half_diagonal_px(optics.size_px)
    u = ((np.arange(w) - (w - 1) / 2.0) / half).astype(np.float32)[None, :]
    v = ((np.arange(h) - (h - 1) / 2.0) / half).astype(np.float32)[:, None]
    return u, v, u * u + v * v


def _disc(radius: float) -> NDArray[np.float32]:
    """Return a disc of unit sum whose rim covers its share of each fine pixel."""
    n = int(np.ceil(radius)) + 1
    i = np.arange(-n, n + 1)
    share = np.clip(radius + 0.5 - np.hypot(i[None, :], i[:, None]), 0.0, 1.0)
    return np.asarray(share / share.sum(), np.float32)
