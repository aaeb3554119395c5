"""A picture of a flat bed from any angle, with known points in it: pixels to millimetres.

A camera without distortion maps a plane by a homography: eight numbers, so four points settle it,
and more tell how well it holds.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from kerfwright.errors import GeometryError, UsageError
from kerfwright.geometry._checks import points_of
from kerfwright.geometry.record import F64, Record, frozen_array, require

LEAST_POINTS = 4
_DEGENERATE = 1e-5
"""Share of the greatest singular value below which points are taken to settle no homography."""
_FLAT = 1e-7
_ROUNDS = 30
_STILL = 1e-15


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Homography(Record):
    """A projective map of one plane to another.

    Parameters
    ----------
    matrix : ndarray of shape (3, 3), float
        Takes (x, y, 1) to (u w, v w, w); w is above 0 on the near side of the horizon.
    residual_px : ndarray of shape (N,), float
        How far each point it was fitted to lies off in the picture; 0 for four [px].
    redundancy : int
        Numbers given beyond the eight that settle it.
    """

    matrix: F64
    residual_px: F64 = field(default_factory=lambda: np.zeros(0))
    redundancy: int = 0

    def __post_init__(self) -> None:
        frozen_array(self, "matrix", dtype=np.float64, shape=(3, 3))
        frozen_array(self, "residual_px", dtype=np.float64, shape=(None,))
        require(self.redundancy >= 0, f"Homography.redundancy is {self.redundancy}")
        require(np.linalg.det(self.matrix) != 0.0, "Homography.matrix is singular")

    def map(self, xy: ArrayLike) -> F64:
        """Return points of the one plane on the other.

        Parameters
        ----------
        xy : array_like of shape (N, 2)
            Points.

        Returns
        -------
        ndarray of shape (N, 2), float
            The same points on the other plane.

        Raises
        ------
        GeometryError
            If a point is not finite, or lies on the horizon or beyond it.
        """
        at = points_of(xy)
        out = at @ self.matrix[:, :2].T + self.matrix[:, 2]
        beyond = np.flatnonzero(out[:, 2] <= 0.0)
        if beyond.size:
            x, y = at[beyond[0]].tolist()
            raise GeometryError(
                f"point ({x:g}, {y:g}) lies on the horizon of the picture or beyond it, where the "
                "bed is not seen"
            )
        return np.asarray(out[:, :2] / out[:, 2:], np.float64)

    @property
    def inverse(self) -> Homography:
        """The map back."""
        back = np.linalg.inv(self.matrix)
        return Homography(
            matrix=back / np.abs(back).max(),
            residual_px=self.residual_px,
            redundancy=self.redundancy,
        )


def fit_homography(
    picture_px: ArrayLike,
    table_mm: ArrayLike,
    *,
    most_off_px: float = 4.0,
    bed_mm: tuple[float, float, float, float] | None = None,
) -> Homography:
    """Return the homography from a picture to the table by known points.

    Four points settle it exactly; with more, the sum of squared distances in the picture is
    least, since that is where points are marked by hand.

    Parameters
    ----------
    picture_px : array_like of shape (N, 2)
        Points as they lie in the picture, at least four [px].
    table_mm : array_like of shape (N, 2)
        The same points on the table [mm].
    most_off_px : float, default 4
        Root mean square distance in the picture above which the fit is refused [px].
    bed_mm : tuple of float, optional
        x0, y0, x1, y1 of the bed; all of it must lie on the near side of the horizon [mm].

    Returns
    -------
    Homography
        table_from_picture.

    Raises
    ------
    UsageError
        If there are fewer than four points, the numbers differ, or a limit is out of range.
    GeometryError
        If the points settle no homography (three of four, or all but one, on a line), the horizon
        passes between them or through the bed, or they do not fit one another.

    Notes
    -----
    Direct linear transformation on points moved and scaled to about 1, then Gauss-Newton on the
    distances in the picture. Lenses that bend straight lines are not corrected.
    """
    seen, known = points_of(picture_px), points_of(table_mm)
    if len(seen) != len(known) or len(seen) < LEAST_POINTS:
        raise UsageError(
            f"{len(seen)} points of the picture and {len(known)} of the table; give as many of "
            f"both, at least {LEAST_POINTS}"
        )
    if not (np.isfinite(most_off_px) and most_off_px > 0.0):
        raise UsageError(f"most_off_px is {most_off_px}, must be above 0")
    to_seen, to_known = _unit_frame(seen, "picture"), _unit_frame(known, "table")
    there, here = _moved(known, to_known), _moved(seen, to_seen)
    lines = _settled(there, here)
    fitted = _refined(lines, there, here)
    picture_from_table = np.asarray(np.linalg.inv(to_seen) @ fitted @ to_known, np.float64)
    picture_from_table = _near_side(picture_from_table, known, "a pair of points")
    if bed_mm is not None:
        x0, y0, x1, y1 = bed_mm
        corners = np.array(((x0, y0), (x1, y0), (x1, y1), (x0, y1)))
        _near_side(picture_from_table, np.concatenate((known, corners)), "the bed")
    off = Homography(matrix=picture_from_table).map(known) - seen
    away = np.hypot(off[:, 0], off[:, 1])
    _refuse_poor(away, most_off_px)
    back = np.asarray(np.linalg.inv(picture_from_table), np.float64)
    back = _near_side(back, seen, "a pair of points")
    spare = 2 * len(seen) - 8
    return Homography(
        matrix=back,
        residual_px=away if spare else np.zeros(len(seen)),
        redundancy=spare,
    )


def _unit_frame(xy: F64, which: str) -> F64:
    """Return the similarity that moves points about 0 to a mean distance of sqrt 2, (3, 3)."""
    middle = xy.mean(axis=0)
    mean = float(np.hypot(*(xy - middle).T).mean())
    if mean == 0.0:
        raise GeometryError(f"all points of the {which} lie in one place; mark four corners")
    scale = np.sqrt(2.0) / mean
    return np.array(
        ((scale, 0.0, -scale * middle[0]), (0.0, scale, -scale * middle[1]), (0.0, 0.0, 1.0))
    )


def _moved(xy: F64, frame: F64) -> F64:
    return np.asarray(xy @ frame[:2, :2].T + frame[:2, 2], np.float64)


def _settled(known: F64, seen: F64) -> F64:
    """Return the matrix of least algebraic distance; refuse points that leave several."""
    x, y = known.T
    u, v = seen.T
    one, none = np.ones(len(x)), np.zeros(len(x))
    rows = np.concatenate(
        (
            np.column_stack((x, y, one, none, none, none, -u * x, -u * y, -u)),
            np.column_stack((none, none, none, x, y, one, -v * x, -v * y, -v)),
        )
    )
    _, sizes, vt = np.linalg.svd(rows)
    matrix: F64 = vt[8].reshape(3, 3)
    if sizes[7] <= _DEGENERATE * sizes[0] or abs(np.linalg.det(matrix)) <= _FLAT:
        raise GeometryError(
            "the points settle no map of the bed: three of four, or all but one, lie on a line; "
            "mark points near four corners of the bed"
        )
    return matrix


def _refined(matrix: F64, known: F64, seen: F64) -> F64:
    """Return the matrix of least distance in the picture, by Gauss-Newton."""
    if len(known) == LEAST_POINTS:
        return matrix
    best, least = matrix, _square(matrix, known, seen)
    for _ in range(_ROUNDS):
        slope, left = _slopes(best, known, seen)
        step = np.linalg.lstsq(slope, left, rcond=1e-12)[0].reshape(3, 3)
        size = 1.0
        while size > 1e-3 and _square(best + size * step, known, seen) > least:
            size /= 2.0
        new = best + size * step
        square = _square(new, known, seen)
        if not square < least:
            break
        done = np.abs(size * step).max() < _STILL
        best, least = new / np.linalg.norm(new), square
        if done:
            break
    return best


def _square(matrix: F64, known: F64, seen: F64) -> float:
    place = known @ matrix[:, :2].T + matrix[:, 2]
    return float(((place[:, :2] / place[:, 2:] - seen) ** 2).sum())


def _slopes(matrix: F64, known: F64, seen: F64) -> tuple[F64, F64]:
    """Return slopes (2 N, 9) of the places in the picture, and what is left to explain (2 N,)."""
    ones = np.column_stack((known, np.ones(len(known))))
    place = ones @ matrix.T
    share = ones / place[:, 2:]
    at = place[:, :2] / place[:, 2:]
    none = np.zeros_like(share)
    along = np.concatenate((share, none, -at[:, :1] * share), axis=1)
    across = np.concatenate((none, share, -at[:, 1:] * share), axis=1)
    return np.concatenate((along, across)), (seen - at).T.ravel()


def _near_side(matrix: F64, xy: F64, what: str) -> F64:
    """Return the matrix of such a sign that all points are on the near side of the horizon."""
    w = xy @ matrix[2, :2] + matrix[2, 2]
    if w.min() * w.max() <= 0.0:
        raise GeometryError(
            f"the horizon of the picture passes through {what}: two points are swapped, or one is "
            "marked far off; check each point of the picture against its place on the table"
        )
    out: F64 = matrix * np.sign(w[0]) / np.abs(matrix).max()
    return out


def _refuse_poor(away_px: F64, most_off_px: float) -> None:
    rms = float(np.sqrt((away_px**2).mean()))
    if rms > most_off_px:
        worst = int(away_px.argmax())
        raise GeometryError(
            f"the points do not fit one another: they lie {rms:.1f} px off in the mean, at most "
            f"{most_off_px:g} px may be; point {worst + 1} is the worst with {away_px[worst]:.1f} "
            "px; check it, or straighten the picture if the lens bends lines"
        )
