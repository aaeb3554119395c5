"""Pictures of a printed sheet, taken where the job commands the camera."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import cv2
import numpy as np
from numpy.typing import ArrayLike

from kerfwright.geometry.record import F64, I64, require
from kerfwright.model.marks import Photo
from kerfwright.virtual._ground import F32, Numbers, paint_ground, paint_patch
from kerfwright.virtual._placing import FINE, dot_rows, speck_rows, strip_rows
from kerfwright.virtual._sensor import expose, gather, glare, illumination
from kerfwright.virtual._things import paint_things
from kerfwright.virtual._view import View, half_diagonal_px, shot_rng, true_axis
from kerfwright.virtual.printing import page_from_sheet
from kerfwright.virtual.scene import U8, Patch
from kerfwright.virtual.truth import Truth

_FIRST_SHOT = datetime(2000, 1, 1, tzinfo=UTC)
"""Virtual time of shot 0; each later shot is one second on."""

_SCREEN_GAMMA = 2.2


def photograph(truth: Truth, camera_xy_mm: ArrayLike, *, shot: int) -> tuple[U8, Photo]:
    """Take a picture: what the camera sees where it really went, and what the job knows of it.

    Parameters
    ----------
    truth : Truth
        The sheet on the table.
    camera_xy_mm : array_like of shape (2,)
        Where the camera was commanded to, table frame [mm].
    shot : int
        Number of the picture; with the sheet's seed it draws gantry error, noise and glare.

    Returns
    -------
    image : ndarray of shape (H, W), uint8
        The picture.
    photo : Photo
        Commanded place, known scale and turn; its `image_sha` is empty until it is stored, and
        `taken_at` counts virtual seconds.

    Raises
    ------
    ModelError
        If the place is no pair of finite numbers or `shot` is below 0.

    Notes
    -----
    Things are painted on a canvas of four times the pixels, each covering its share of a fine
    pixel; then come optics, pixel aperture, light, noise and gamma. The outline of a dot is an
    ellipse by the mean slope of the map over it: its centre is exact, its bend under lens and
    bow (below 0.001 px) is left out.
    """
    require(shot >= 0, f"shot is {shot}, must be 0 or more")
    o = truth.optics
    photo = Photo(
        image_sha="",
        camera_xy_mm=np.array(camera_xy_mm, dtype=np.float64),
        px_per_mm=o.px_per_mm,
        turn_rad=o.turn_rad,
        size_px=o.size_px,
        taken_at=(_FIRST_SHOT + timedelta(seconds=shot)).isoformat(),
    )
    view = View(truth=truth, axis_mm=true_axis(truth, photo.camera_xy_mm, shot))
    light = gather(_canvas(view), o) * illumination(o)
    if truth.blemishes.glare > 0.0:
        light = light + glare(view, shot)
    return expose(light, o, shot_rng(truth, shot, 1)), photo


def _canvas(view: View) -> F32:
    """Return the reflectance of everything in view, on fine pixels."""
    t = view.truth
    w, h = t.optics.size_px
    camera = camera_numbers(view)
    surface = t.surface
    ground = paint_ground(
        h,
        w,
        camera,
        (surface.white, surface.bed),
        (surface.grain, surface.grain_mm, surface.stretch),
        t.seed % (1 << 31),
    )
    for patch in t.patches:
        ground = _with_patch(ground, patch, view, camera)
    fine = cv2.resize(ground, (FINE * w, FINE * h), interpolation=cv2.INTER_LINEAR)
    dots, rags = dot_rows(view)
    return paint_things(
        fine.astype(np.float32, copy=False), dots, rags, strip_rows(view), speck_rows(view)
    )


def camera_numbers(view: View) -> Numbers:
    """Return the camera, the throw and the curl as the kernels of `_ground` take them."""
    t, o = view.truth, view.truth.optics
    w, h = o.size_px
    lens = o.lens_k1 / half_diagonal_px(o.size_px) ** 2
    size = t.stock_size_mm
    curl = (0.0, 0.0, 0.0, 1.0)
    if t.curl is not None:
        curl = (t.curl.height_mm, *t.curl.place(size), t.curl.reach_mm)
    numbers = (
        *view.axis_mm,
        *(o.px_per_mm, (w - 1) / 2.0, (h - 1) / 2.0, lens, o.working_distance_mm),
        *(np.cos(o.turn_rad), np.sin(o.turn_rad), t.throw.x_mm, t.throw.y_mm),
        *(np.cos(t.throw.turn_rad), np.sin(t.throw.turn_rad)),
        *size,
        *curl,
    )
    return tuple(float(n) for n in numbers)


def printer_numbers(truth: Truth) -> tuple[Numbers, F64, F64]:
    """Return the printer, its steps, and the similarity from page to sheet, for the kernels."""
    p = truth.printer
    wrinkle = (0.0, 0.0, 0.0, 1.0) if p.wrinkle is None else tuple(p.wrinkle)
    terms = (p.growth_x, p.growth_y, np.tan(p.skew_rad), p.bow_per_mm, p.blend_mm)
    numbers = (*terms, *wrinkle, *truth.stock_size_mm)
    forward = page_from_sheet(truth.sheet_box_mm, p)
    back = np.linalg.inv(forward[:, :2])
    similarity = np.column_stack((back, -back @ forward[:, 2]))
    return tuple(float(n) for n in numbers), p.steps, similarity


def _with_patch(ground: F32, patch: Patch, view: View, camera: Numbers) -> F32:
    window = _window(patch, view)
    if window[0] >= window[2] or window[1] >= window[3]:
        return ground
    tone = (np.arange(256) / 255.0) ** _SCREEN_GAMMA
    linear, scale = tone.astype(np.float32)[patch.grey], patch.px_per_mm
    coarser = view.truth.optics.px_per_mm / (scale * view.truth.printer.scale)
    if coarser < 1.0:  # more detail than the camera sees would alias
        linear, scale = _reduced(linear, max(round(1.0 / coarser), 1), scale)
    numbers, steps, similarity = printer_numbers(view.truth)
    place = (float(patch.xy0_mm[0]), float(patch.xy0_mm[1]), float(scale))
    return paint_patch(ground, linear, place, window, camera, numbers, steps, similarity)


def _reduced(linear: F32, factor: int, scale: float) -> tuple[F32, float]:
    """Return means over squares of `factor` pixels; the rest at top and right is bare."""
    h, w = linear.shape
    padded = np.pad(
        linear, ((-h % factor, 0), (0, -w % factor)), mode="constant", constant_values=1.0
    )
    squares = padded.reshape(padded.shape[0] // factor, factor, padded.shape[1] // factor, factor)
    return squares.mean(axis=(1, 3), dtype=np.float32), scale / factor


def _window(patch: Patch, view: View) -> I64:
    """Return first and last row and column a patch can be seen in: bounds of its grid of points."""
    h, w = patch.grey.shape
    u, v = np.meshgrid(np.linspace(0.0, 1.0, 33), np.linspace(0.0, 1.0, 33))
    size = np.array((w, h)) / patch.px_per_mm
    points = np.column_stack((u.ravel(), v.ravel())) * size + np.array(patch.xy0_mm)
    seen = view.image_from_sheet(points)
    margin = 4.0 + view.truth.optics.px_per_mm * 2.0
    limit = np.array(view.truth.optics.size_px)
    low = np.clip(np.floor(seen.min(axis=0) - margin), 0, limit)
    high = np.clip(np.ceil(seen.max(axis=0) + margin), 0, limit)
    return np.array((low[1], low[0], high[1], high[0]), dtype=np.int64)
