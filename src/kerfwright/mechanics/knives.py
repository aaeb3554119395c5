"""Force of a blade on what it cuts.

The resistance R of a material is force per width of cut [N/mm], the same as energy per area of
cut [kJ/m2]. For board, foam and film no published values were found: measure it by cutting two
thicknesses and taking the slope, since friction on the blade adds a constant.
"""

from __future__ import annotations

from math import pi, sin, tan

import numpy as np
from numpy.typing import ArrayLike

from kerfwright.geometry.record import F64, require


def resistance_n(resistance_kj_m2: ArrayLike, depth_mm: ArrayLike) -> F64:
    """Return the force along the cut of an upright edge that is only pushed: ``R w`` [N].

    The greatest of `slice_push_n` over all slice ratios, so the safe one.
    """
    r, w = np.asarray(resistance_kj_m2, np.float64), np.asarray(depth_mm, np.float64)
    require(bool((r >= 0.0).all()), "resistance_n: a resistance is below 0")
    require(bool((w >= 0.0).all()), "resistance_n: a depth is below 0")
    return np.asarray(r * w, np.float64)


def slice_push_n(
    resistance_kj_m2: float, width_mm: float, slice_ratio: ArrayLike
) -> tuple[F64, F64, F64]:
    """Return the forces across and along an edge that slices while it pushes.

    ``V = R w / (1 + xi^2)``, ``H = R w xi / (1 + xi^2)``, ``F = R w / sqrt(1 + xi^2)``.

    Parameters
    ----------
    resistance_kj_m2 : float
        Resistance of the material, the same number in N/mm [kJ/m2].
    width_mm : float
        Width of the cut along the edge [mm].
    slice_ratio : array_like, float
        xi: speed along the edge over speed across it.

    Returns
    -------
    across_n, along_n, total_n : ndarray, float
        Forces [N].

    Notes
    -----
    Atkins, Interface Focus 6 (2016) 20160019, equations 1.2 to 1.4, as quoted elsewhere. Without
    friction, which limits what slicing wins at the highest ratios.
    """
    xi = np.asarray(slice_ratio, np.float64)
    full = resistance_kj_m2 * width_mm
    share = 1.0 + xi * xi
    return full / share, full * xi / share, full / np.sqrt(share)


def push_cut_ratio(wedge_rad: float, friction_rad: float) -> float:
    """Return the push force over ``b Gc`` of a wedge with friction, without slicing.

    ``1 / ((1 - cos t) + sin t / tan(beta + t))``, least where t + beta is a right angle.

    Parameters
    ----------
    wedge_rad : float
        Angle t of the wedge's face, above 0 [rad].
    friction_rad : float
        Angle beta of friction, 0 or more [rad].

    Raises
    ------
    ModelError
        If the angles add up to half a turn or more, or the wedge jams: no finite force cuts.

    Notes
    -----
    Williams and Patel, Interface Focus 6 (2016) 20150108, equation 2.6, as quoted elsewhere.
    """
    right = wedge_rad > 0.0 and friction_rad >= 0.0 and wedge_rad + friction_rad < pi
    require(right, f"angles {wedge_rad} and {friction_rad} rad are out of range")
    gain = 1.0 - np.cos(wedge_rad) + sin(wedge_rad) / tan(friction_rad + wedge_rad)
    require(
        gain > 0.0, f"a wedge of {wedge_rad} rad jams at a friction angle of {friction_rad} rad"
    )
    return float(1.0 / gain)


def stroke_slice_ratio(stroke_mm: float, stroke_hz: float, feed_mm_s: float) -> float:
    """Return the mean slice ratio of an upright oscillating edge: ``2 s f / v``."""
    require(feed_mm_s > 0.0, f"feed_mm_s is {feed_mm_s}, must be above 0")
    return 2.0 * stroke_mm * stroke_hz / feed_mm_s
