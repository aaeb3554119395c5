"""How far a sheet may be turned, and how far from one mark the next one is surely found."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from kerfwright.errors import GeometryError, UsageError
from kerfwright.geometry.record import BOOL, F64
from kerfwright.model.prior import PrintPrior

if TYPE_CHECKING:
    from kerfwright.model.table import LoadPose

_SIGMAS = 3.0
_SLACK_MM = 1e-9


def falls_into_view(
    away_mm: F64,
    *,
    field_of_view_mm: tuple[float, float],
    throw_rad: float,
    prior: PrintPrior,
    diameter_mm: float,
) -> BOOL:
    """Return whether a mark is surely in the picture, the sheet's turn not being known.

    One mark was found; the camera goes to where the other one lies if the sheet is not turned.
    Turned by up to ``t`` to either side it lies off by at most ``(1 - cos t) |x| + sin t |y|``
    along x, and likewise along y. To that come three standard deviations of growth, skew, wander
    and scatter, and the mark's radius, so that all of it is seen.

    Parameters
    ----------
    away_mm : ndarray of shape (K, 2), float
        From the mark found to the other one, sheet frame [mm].
    field_of_view_mm : tuple of float
        Width and height of the picture at the sheet [mm].
    throw_rad : float
        Largest turn of the sheet to either side [rad].
    prior : PrintPrior
        What the print may do.
    diameter_mm : float
        Diameter of a mark [mm].

    Returns
    -------
    ndarray of shape (K,), bool
        True where the whole mark is in the picture.
    """
    off = furthest_off_mm(away_mm, throw_rad=throw_rad, prior=prior) + diameter_mm / 2.0
    return np.asarray((off <= np.array(field_of_view_mm) / 2.0).all(axis=1))


def furthest_off_mm(away_mm: F64, *, throw_rad: float, prior: PrintPrior) -> F64:
    """Return how far a mark may lie off its place on a sheet that is not turned.

    Parameters
    ----------
    away_mm : ndarray of shape (K, 2), float
        From the mark found to the other one, along the picture's axes [mm].
    throw_rad : float
        Largest turn of the sheet to either side [rad].
    prior : PrintPrior
        What the print may do.

    Returns
    -------
    ndarray of shape (K, 2), float
        Along both axes, as `falls_into_view` counts it without the mark's radius [mm].
    """
    xy = np.abs(np.asarray(away_mm, dtype=np.float64))
    length = np.hypot(xy[:, 0], xy[:, 1])
    aside = math.sin(min(throw_rad, math.pi / 2.0))
    back = 1.0 - math.cos(min(throw_rad, math.pi))
    wander = prior.field_sd_mm * np.minimum(length / prior.field_length_mm, 1.0)
    stretch = math.hypot(prior.growth_sd, prior.skew_sd_rad) * length
    spread = np.sqrt(stretch**2 + 2.0 * wander**2 + 2.0 * prior.mark_sd_mm**2)
    return np.asarray(back * xy + aside * xy[:, ::-1] + _SIGMAS * spread[:, None], np.float64)


def allowed_throw_rad(
    width_mm: float,
    height_mm: float,
    bed_mm: tuple[float, float, float, float],
    pose: LoadPose | None = None,
) -> float:
    """Return the largest turn to either side at which a sheet still lies on the bed.

    A sheet w by h turned by a needs ``w cos a + h sin a`` by ``w sin a + h cos a``. It turns about
    its middle, which stays where the pose puts it; without a pose it may lie anywhere.

    Parameters
    ----------
    width_mm, height_mm : float
        The sheet [mm].
    bed_mm : tuple of float
        x0, y0, x1, y1 of the bed, or of what the camera and all heads reach [mm].
    pose : LoadPose, optional
        Where the sheet is laid.

    Returns
    -------
    float
        Every turn up to this one fits, to both sides; pi where any turn does [rad].

    Raises
    ------
    UsageError
        If the sheet or the bed is empty.
    GeometryError
        If the sheet does not even fit without being turned.
    """
    room_x, room_y = bed_mm[2] - bed_mm[0], bed_mm[3] - bed_mm[1]
    if not (min(width_mm, height_mm, room_x, room_y) > 0.0):
        raise UsageError(
            f"a sheet of {width_mm} x {height_mm} mm on a bed of {room_x} x {room_y} mm; all must "
            "be above 0"
        )
    turn = 0.0
    if pose is not None:
        turn = pose.turn_rad
        c, s = math.cos(turn), math.sin(turn)
        x = pose.x_mm + (c * width_mm - s * height_mm) / 2.0
        y = pose.y_mm + (s * width_mm + c * height_mm) / 2.0
        room_x = 2.0 * min(x - bed_mm[0], bed_mm[2] - x)
        room_y = 2.0 * min(y - bed_mm[1], bed_mm[3] - y)
    need = turned_size_mm(width_mm, height_mm, turn)
    if need[0] > room_x + _SLACK_MM or need[1] > room_y + _SLACK_MM:
        raise GeometryError(
            f"a sheet of {width_mm:g} x {height_mm:g} mm laid as asked needs {need[0]:.1f} x "
            f"{need[1]:.1f} mm, there is room for {room_x:.1f} x {room_y:.1f} mm; move it, turn it "
            "by a right angle or take a smaller one"
        )
    return min(
        _first_misfit(width_mm, height_mm, room_x, room_y, turn, sense) for sense in (1.0, -1.0)
    )


def turned_size_mm(width_mm: float, height_mm: float, turn_rad: float) -> tuple[float, float]:
    """Return the width and height of the box around a turned sheet [mm]."""
    c, s = abs(math.cos(turn_rad)), abs(math.sin(turn_rad))
    return width_mm * c + height_mm * s, width_mm * s + height_mm * c


def _first_misfit(
    width: float, height: float, room_x: float, room_y: float, begin: float, sense: float
) -> float:
    """Return the least turn in one sense beyond which the sheet no longer fits, at most pi.

    Width and height change their fit only at angles with a closed form: between two of those in
    a row one look decides.
    """
    diagonal, corner = math.hypot(width, height), math.atan2(height, width)
    angles = {0.0, math.pi}
    for room, lean in ((room_x, corner), (room_y, math.pi / 2.0 - corner)):
        if room > diagonal:
            continue
        open_rad = math.acos(min(room / diagonal, 1.0))
        for base in (lean + open_rad, lean - open_rad, -lean + open_rad, -lean - open_rad):
            # turn = (angle - begin) * sense, and a box looks the same after half a turn
            angles.add(((base - begin) * sense) % math.pi)
    ordered = sorted(angles)
    for a, b in pairwise(ordered):
        if b - a < 1e-12:
            continue
        need = turned_size_mm(width, height, begin + sense * (a + b) / 2.0)
        if need[0] > room_x or need[1] > room_y:
            return a
    return math.pi
