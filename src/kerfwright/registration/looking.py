"""Pictures of one sheet together: marks in the table frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry.record import F64, I64, Record, frozen_array
from kerfwright.model.marks import FoundMarks, Photo

SAME_MM = 3.0
"""Marks of two pictures nearer than this are one; marks are placed farther apart."""
PARALLAX = 0.005
"""Displacement per distance from the optical axis: 1 mm of height at 200 mm (derived)."""
_CHI_SQUARE = 18.4  # 0.9999 of two degrees of freedom


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen(Record):
    """K marks of several pictures, table frame.

    Parameters
    ----------
    xy_mm : ndarray of shape (K, 2), float
        Centres [mm].
    cov_mm2 : ndarray of shape (K, 2, 2), float
        Covariances, height parallax included [mm2].
    photo : ndarray of shape (K,), int
        The picture that shows each one nearest to its middle.
    findings : tuple of Finding
        Pictures that contradict each other.
    """

    xy_mm: F64
    cov_mm2: F64
    photo: I64
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        frozen_array(self, "xy_mm", dtype=np.float64, shape=(None, 2))
        count = len(self.xy_mm)
        frozen_array(self, "cov_mm2", dtype=np.float64, shape=(count, 2, 2))
        frozen_array(self, "photo", dtype=np.int64, shape=(count,))


def merge_found(
    photos: Sequence[Photo],
    founds: Sequence[FoundMarks],
    *,
    repeat_sd_mm: float,
    parallax: float = PARALLAX,
) -> Seen:
    """Return the marks of all pictures, each mark once.

    A mark seen off the optical axis is displaced when its face is higher than thought. A mark in
    several pictures is averaged by what each is worth, so a picture taken over it counts most.

    Parameters
    ----------
    photos : sequence of Photo
        Where and how each picture was taken.
    founds : sequence of FoundMarks
        What was found in each.
    repeat_sd_mm : float
        How well the gantry comes back to a place, along each axis [mm].
    parallax : float
        Standard deviation of the displacement per distance from the axis [1].
    """
    xy, cov, photo, off_axis = [], [], [], []
    for n, (shot, found) in enumerate(zip(photos, founds, strict=True)):
        place = shot.table_from_image(found.xy)
        xy.append(place)
        cov.append(_table_covariances(shot, found))
        photo.append(np.full(len(place), n, np.int64))
        off_axis.append(place - shot.camera_xy_mm)
    if not photos or not sum(map(len, xy)):
        return Seen(xy_mm=np.zeros((0, 2)), cov_mm2=np.zeros((0, 2, 2)), photo=np.zeros(0, int))
    away = np.concatenate(off_axis)
    square = repeat_sd_mm**2 * np.eye(2) + parallax**2 * away[:, :, None] * away[:, None, :]
    return _merged(np.concatenate(xy), np.concatenate(cov) + square, np.concatenate(photo), away)


def _table_covariances(shot: Photo, found: FoundMarks) -> F64:
    c, s = np.cos(shot.turn_rad), np.sin(shot.turn_rad)
    turn = np.array(((c, s), (s, -c))) / shot.px_per_mm  # y of a picture runs down
    out: F64 = turn @ found.cov @ turn.T
    return out


def _merged(xy: F64, cov: F64, photo: I64, off_axis: F64) -> Seen:
    near = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1)) < SAME_MM
    near &= (photo[:, None] != photo[None]) | np.eye(len(xy), dtype=bool)
    count, group = connected_components(coo_array(near), directed=False)
    out_xy, out_cov, out_photo, findings = [], [], [], []
    for g in range(count):
        rows = np.flatnonzero(group == g)
        weight = np.linalg.inv(cov[rows])
        total = np.linalg.inv(weight.sum(axis=0))
        mean = total @ (weight @ xy[rows][:, :, None]).sum(axis=0)[:, 0]
        out_xy.append(mean)
        out_cov.append(total)
        out_photo.append(photo[rows[np.hypot(*off_axis[rows].T).argmin()]])
        findings += _contradiction(xy[rows], cov[rows], photo[rows])
    return Seen(
        xy_mm=np.array(out_xy),
        cov_mm2=np.array(out_cov),
        photo=np.array(out_photo, np.int64),
        findings=tuple(findings),
    )


def _contradiction(xy: F64, cov: F64, photo: I64) -> list[Finding]:
    """Return a finding where two pictures of a mark differ by more than they can."""
    for i in range(len(xy)):
        for j in range(i + 1, len(xy)):
            gap = xy[j] - xy[i]
            chance = float(gap @ np.linalg.solve(cov[i] + cov[j], gap))
            if chance > _CHI_SQUARE:
                spread = float(np.sqrt(np.trace(cov[i] + cov[j]) / 2.0))
                return [
                    Finding(
                        code="LOK-130",
                        severity=Severity.WARN,
                        where=Place(
                            stage="look", xy_mm=(float(xy[i, 0]), float(xy[i, 1])), frame="table"
                        ),
                        measured=float(np.hypot(*gap)),
                        limit=float(np.sqrt(_CHI_SQUARE)) * spread,
                        unit="mm",
                        params={"one": int(photo[i]) + 1, "two": int(photo[j]) + 1},
                    )
                ]
    return []
