"""Walks from mark to mark on simulated sheets: places only, no pictures."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from kerfwright.model.marks import FoundMarks, MarkLayout, MarkMatch, Photo
from kerfwright.model.prior import PrintPrior
from kerfwright.registration import match_marks, merge_found, next_view, other_poses

VIEW_MM = (160.0, 120.0)
THROW_RAD = 0.07
PRIOR = PrintPrior()
MATCH_MM = 4.0
EXTRA_LOOKS = 12
EXPECTED = np.array(((1.0, 0.0, 50.0), (0.0, 1.0, 50.0)))


@dataclass(frozen=True, kw_only=True)
class Walked:
    """Where the camera went, and what came of it."""

    looks_mm: np.ndarray
    match: MarkMatch
    right: int
    wrong: int
    asked: bool


def mapped(affine, xy):
    return xy @ affine[:, :2].T + affine[:, 2]


def perimeter_marks(rng, size_mm, count):
    """Draw marks along the edge of a sheet, somewhat evenly."""
    w, h = size_mm
    around = np.linspace(0.0, 1.0, count, endpoint=False) + rng.uniform(-0.03, 0.03, count)
    place = (around % 1.0) * 2.0 * (w + h)
    xy = np.array([_on_edge(s, w, h) for s in place])
    return np.clip(xy, 15.0, np.array(size_mm) - 15.0)


def _on_edge(s, w, h):
    if s < w:
        return s, 0.0
    if s < w + h:
        return w, s - w
    if s < 2.0 * w + h:
        return 2.0 * w + h - s, h
    return 0.0, 2.0 * (w + h) - s


def layout_of(xy, size_mm):
    return MarkLayout(sheet="s", xy=xy, diameter_mm=6.0, quiet_mm=3.0, id="m", ambiguity=2,
                      losses_tolerated=len(xy) - 3, worst_sd_mm=0.1)  # fmt: skip


def thrown(rng, size_mm, quarters):
    """Draw how a sheet lies that was printed turned by quarters, or mirrored where that is 4."""
    box = (0.0, 0.0, *size_mm)
    pose = EXPECTED if quarters == 0 else other_poses(EXPECTED, box)[quarters - 1]
    turn = rng.uniform(-0.8, 0.8) * THROW_RAD
    c, s = math.cos(turn), math.sin(turn)
    grow = np.eye(2) + np.diag(rng.normal(0.0, PRIOR.growth_sd / 2.0, 2))
    linear = np.array(((c, -s), (s, c))) @ pose[:, :2] @ grow
    middle = np.array(size_mm) / 2.0
    goes = mapped(pose, middle[None])[0] + rng.normal(0.0, PRIOR.throw_xy_mm, 2)
    return np.column_stack((linear, goes - linear @ middle))


def walk(marks, true, *, missing=(), sheet_mm, others=True, reach_mm=None, choose=next_view):
    """Walk as the guided walk does; marks in view are seen, all others are not."""
    there = np.setdiff1d(np.arange(len(marks.xy)), missing)
    lies = mapped(true, marks.xy)
    looks = [np.round(lies[there[0]] / 5.0) * 5.0]
    shots, founds = [], []
    box = (0.0, 0.0, *sheet_mm)
    more = {"others": other_poses(EXPECTED, box)} if others else {}
    while True:
        shot, found = _picture(looks[-1], lies[there])
        shots.append(shot)
        founds.append(found)
        seen = merge_found(shots, founds, repeat_sd_mm=0.01)
        match = match_marks(seen.xy_mm, marks.xy, tolerance_mm=MATCH_MM,
                            found_cov_mm2=seen.cov_mm2, turn_rad=0.0,
                            turn_limit_rad=THROW_RAD)  # fmt: skip
        known = match if len(match.pairs) >= 2 else None
        looked = np.array(looks)
        view = choose(seen, marks, PRIOR, match=known, expected=EXPECTED, throw_rad=THROW_RAD,
                      field_of_view_mm=VIEW_MM, camera_xy_mm=looks[-1],
                      visited=_visited(looked, marks, known), looked_xy_mm=looked,
                      reach_mm=reach_mm, **more)  # fmt: skip
        if view is None or len(looks) >= len(marks.xy) + EXTRA_LOOKS:
            break
        looks.append(view.camera_xy_mm)
    return _judged(np.array(looks), seen, match, lies, known is None)


def _picture(at, lies):
    shot = Photo(image_sha="0", camera_xy_mm=at, px_per_mm=10.0, size_px=(1600, 1200),
                 taken_at="")  # fmt: skip
    inside = (np.abs(lies - at) + 3.0 <= np.array(VIEW_MM) / 2.0).all(axis=1)
    xy = shot.image_from_table(lies[inside])
    return shot, FoundMarks(xy=xy, cov=np.tile(np.eye(2) * 0.05**2, (len(xy), 1, 1)),
                            score=np.ones(len(xy)), diameter_px=np.full(len(xy), 60.0))  # fmt: skip


def _visited(looked, marks, match):
    if match is None:
        return set()
    place = mapped(match.table_from_sheet, marks.xy)
    away = np.hypot(*(place[:, None] - looked[None]).transpose(2, 0, 1)).min(axis=1)
    return set(np.flatnonzero(away < min(VIEW_MM) / 8.0).tolist())


def _judged(looks, seen, match, lies, asked):
    near = np.hypot(*(seen.xy_mm[:, None] - lies[None]).transpose(2, 0, 1)).argmin(axis=1)
    right = sum(int(near[m]) == k for m, k in match.pairs.tolist())
    return Walked(looks_mm=looks, match=match, right=right, wrong=len(match.pairs) - right,
                  asked=asked)  # fmt: skip
