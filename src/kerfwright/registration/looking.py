"""Pictures of one sheet together: marks in the table frame, and where to look next."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry.record import BOOL, F64, I64, Record, frozen_array
from kerfwright.model.marks import FoundMarks, MarkLayout, MarkMatch, Photo, View
from kerfwright.model.prior import PrintPrior
from kerfwright.registration.looking_ahead import expected_places
from kerfwright.registration.placing_reach import falls_into_view

SAME_MM = 3.0
"""Marks of two pictures nearer than this are one; marks are placed farther apart."""
PARALLAX = 0.005
"""Displacement per distance from the optical axis: 1 mm of height at 200 mm (derived)."""
_CHI_SQUARE = 18.4  # 0.9999 of two degrees of freedom
_SIGMAS = 4.0
_LOOKS_EACH = 2
"""Neighbours that are looked for before one mark is taken for another."""
_SAME_VIEW = 4.0  # pictures nearer than the side of one over this show the same


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


def next_view(
    seen: Seen,
    marks: MarkLayout,
    prior: PrintPrior,
    *,
    match: MarkMatch | None,
    expected: F64,
    throw_rad: float,
    field_of_view_mm: tuple[float, float],
    camera_xy_mm: F64,
    visited: Collection[int],
    looked_xy_mm: F64 | None = None,
    reach_mm: tuple[float, float, float, float] | None = None,
) -> View | None:
    """Return where to look next, None when every mark was visited or nothing can be said.

    One mark gives no angle: the next one must fall into the picture however the sheet is turned,
    otherwise somebody has to show the camera a second mark. Nor does one mark say which it is: it
    is first taken for the one that should lie there, and where no neighbour of that shows up
    twice, for the next likely one. From two marks on places are
    predicted, and the nearest mark not visited yet comes next whose window fits into the picture;
    where none does, the one that is known best.

    Parameters
    ----------
    seen : Seen
        Marks found so far.
    marks : MarkLayout
        Marks of the sheet.
    prior : PrintPrior
        What print and throw may do.
    match : MarkMatch or None
        Which is which, as far as known.
    expected : ndarray of shape (2, 3), float
        table_from_sheet as the sheet should lie [1, mm].
    throw_rad : float
        Largest turn from that, either way [rad].
    field_of_view_mm : tuple of float
        Width and height of a picture [mm].
    camera_xy_mm : ndarray of shape (2,), float
        Where the camera is, table frame [mm].
    visited : collection of int
        Nominal marks looked at already, found or not, as far as it is known which is which.
    looked_xy_mm : ndarray of shape (P, 2), float, optional
        Where the camera has been, which keeps it from looking there again while only one mark is
        known [mm].
    reach_mm : tuple of float, optional
        x0, y0, x1, y1 that the camera can go to; anywhere without it [mm].
    """
    if not len(seen.xy_mm):
        return None
    if match is None or len(match.pairs) < 2:
        looked = np.zeros((0, 2)) if looked_xy_mm is None else looked_xy_mm
        return _from_one(seen, marks, prior, expected, throw_rad, field_of_view_mm,
                         looked, reach_mm)  # fmt: skip
    left = np.array([k for k in range(len(marks.xy)) if k not in visited], np.int64)
    if not left.size:
        return None
    known, found = match.pairs[:, 1], match.pairs[:, 0]
    ahead = expected_places(
        marks.xy[left],
        marks.xy[known],
        seen.xy_mm[found],
        seen.cov_mm2[found],
        match.table_from_sheet,
        prior,
    )
    room = min(field_of_view_mm) / 2.0 - marks.diameter_mm / 2.0
    away = np.hypot(*(ahead.xy_mm - camera_xy_mm).T)
    can = _within(ahead.xy_mm, reach_mm)
    if not can.any():
        return None
    fits = can & (ahead.search_mm <= room)
    # where no window fits into the picture the surest one comes next
    cost = np.where(fits, away, np.inf) if fits.any() else np.where(can, ahead.search_mm, np.inf)
    next_ = int(cost.argmin())
    return View(
        camera_xy_mm=ahead.xy_mm[next_],
        mark=int(left[next_]),
        search_mm=float(ahead.search_mm[next_]),
    )


def _within(xy_mm: F64, reach_mm: tuple[float, float, float, float] | None) -> BOOL:
    """Return which places the camera can go to."""
    if reach_mm is None:
        return np.ones(len(xy_mm), np.bool_)
    low, high = np.array(reach_mm[:2]), np.array(reach_mm[2:])
    return np.asarray(((xy_mm >= low) & (xy_mm <= high)).all(axis=1))


def _from_one(
    seen: Seen,
    marks: MarkLayout,
    prior: PrintPrior,
    expected: F64,
    throw_rad: float,
    field_of_view_mm: tuple[float, float],
    looked: F64,
    reach_mm: tuple[float, float, float, float] | None,
) -> View | None:
    """Take the mark for the likeliest one, and look at a neighbour surely in the picture."""
    should = marks.xy @ expected[:, :2].T + expected[:, 2]
    away = np.hypot(*(seen.xy_mm[:, None] - should[None]).transpose(2, 0, 1))
    for pair in np.argsort(away, axis=None, kind="stable"):
        which, first = np.unravel_index(pair, away.shape)
        reach = marks.xy - marks.xy[first]
        surely = falls_into_view(
            reach,
            field_of_view_mm=field_of_view_mm,
            throw_rad=throw_rad,
            prior=prior,
            diameter_mm=marks.diameter_mm,
        )
        surely[first] = False
        places = seen.xy_mm[which] + reach @ expected[:, :2].T
        surely &= _within(places, reach_mm)
        gap = np.hypot(*(places[:, None] - looked[None]).transpose(2, 0, 1))
        tried = gap.min(axis=1, initial=np.inf) < min(field_of_view_mm) / _SAME_VIEW
        if (surely & tried).sum() >= _LOOKS_EACH or not (surely & ~tried).any():
            continue
        length = np.hypot(*reach.T)
        mark = int(np.where(surely & ~tried, length, np.inf).argmin())
        search = (np.sin(throw_rad) + _SIGMAS * prior.growth_sd) * length[mark]
        return View(
            camera_xy_mm=places[mark], mark=mark, search_mm=float(search + marks.diameter_mm)
        )
    return None


def no_view_finding(seen: Seen) -> Finding:
    """Return what to ask of a person when `next_view` says nothing before two marks are known."""
    code = "LOK-128" if len(seen.xy_mm) else "LOK-129"
    return Finding(
        code=code,
        severity=Severity.BLOCKS,
        where=Place(stage="look", frame="table"),
        measured=float(len(seen.xy_mm)),
        limit=2.0,
    )
