"""Chips of a milling cutter: how thick they are, what they take in force and power.

Names: *chip load* is the feed per tooth, *width of engagement* how much of the diameter is in the
stock seen from above, *depth* how much of the height. A slot engages the whole diameter.

Chip-load charts differ by up to two times between suppliers, and constants of force for one
material by up to five; so both belong into ranges, never into one number.
"""

from __future__ import annotations

from math import acos, cos, pi, sin, sqrt

from kerfwright.geometry.record import require


def chip_load_mm(feed_mm_s: float, *, flutes: int, spindle_hz: float) -> float:
    """Return the feed per tooth: ``fz = vf / (n z)`` [mm].

    Raises
    ------
    ModelError
        If flutes or revolutions are not above 0, or the feed is below 0.
    """
    _require_turning(flutes, spindle_hz)
    require(feed_mm_s >= 0.0, f"feed_mm_s is {feed_mm_s}, must not be below 0")
    return feed_mm_s / (flutes * spindle_hz)


def feed_mm_s(chip_load_mm: float, *, flutes: int, spindle_hz: float) -> float:
    """Return the feed that gives a chip load: ``vf = n z fz`` [mm/s].

    Raises
    ------
    ModelError
        If flutes or revolutions are not above 0, or the chip load is below 0.
    """
    _require_turning(flutes, spindle_hz)
    _require_chip(chip_load_mm)
    return chip_load_mm * flutes * spindle_hz


def engagement_rad(width_mm: float, diameter_mm: float) -> float:
    """Return the angle a tooth is in the stock: ``phi = acos(1 - 2 ae / D)``, pi in a slot [rad].

    Parameters
    ----------
    width_mm : float
        Width of engagement, above 0 and at most the diameter [mm].
    diameter_mm : float
        Diameter of the cutter [mm].

    Raises
    ------
    ModelError
        If the width is out of range.
    """
    require(
        0.0 < width_mm <= diameter_mm,
        f"width of engagement {width_mm} mm must be above 0 and at most the diameter "
        f"{diameter_mm} mm",
    )
    return acos(1.0 - 2.0 * width_mm / diameter_mm)


def thinning_factor(width_mm: float, diameter_mm: float) -> float:
    """Return how much thinner the thickest chip is than the chip load, 1 from half the diameter.

    ``sqrt(1 - (1 - 2 ae / D)^2)``; a chip load meant for the thickest chip is divided by it. As
    told in technical pages of two makers of tools.

    Raises
    ------
    ModelError
        As `engagement_rad`.
    """
    phi = engagement_rad(width_mm, diameter_mm)
    return sin(phi) if 2.0 * width_mm < diameter_mm else 1.0


def thickest_chip_mm(chip_load_mm: float, width_mm: float, diameter_mm: float) -> float:
    """Return the greatest thickness of a chip: chip load times `thinning_factor` [mm]."""
    _require_chip(chip_load_mm)
    return chip_load_mm * thinning_factor(width_mm, diameter_mm)


def mean_chip_mm(chip_load_mm: float, width_mm: float, diameter_mm: float) -> float:
    """Return the thickness of a chip averaged over its arc: ``fz (1 - cos phi) / phi`` [mm].

    In a slot this is ``2 fz / pi``. For small widths ``fz sqrt(ae / D)`` comes near it.
    """
    _require_chip(chip_load_mm)
    phi = engagement_rad(width_mm, diameter_mm)
    return chip_load_mm * (1.0 - cos(phi)) / phi


def scallop_mm(radius_mm: float, step_mm: float) -> float:
    """Return the height a ball leaves between passes: ``R - sqrt(R^2 - (s/2)^2)`` [mm].

    Raises
    ------
    ModelError
        If the step is below 0 or wider than the ball.
    """
    half = step_mm / 2.0
    require(
        0.0 <= half <= radius_mm,
        f"a step of {step_mm} mm must be from 0 to the diameter of a ball of radius {radius_mm} mm",
    )
    # The difference of two near numbers, written so that nothing cancels.
    return half * half / (radius_mm + sqrt(radius_mm * radius_mm - half * half))


def specific_force_n_mm2(unit_force_n_mm2: float, chip_mm: float, *, exponent: float) -> float:
    """Return Kienzle's specific cutting force ``kc = kc11 h^-mc`` [N/mm2].

    Parameters
    ----------
    unit_force_n_mm2 : float
        kc11, the force per area of a chip one millimetre thick [N/mm2].
    chip_mm : float
        Mean thickness h of the chip, above 0 [mm].
    exponent : float
        mc, 0 for a specific force that does not depend on the chip.

    Raises
    ------
    ModelError
        If the chip has no thickness.

    Notes
    -----
    Constants hold for chips of 0.05 to 2.5 mm of the metal they were measured on; for aluminium
    tables give kc11 of 500 to 800 (both from memory).
    For wood-based board only mean specific forces are published; use them with exponent 0. For
    acrylic nothing usable was found: measure the power of the spindle.
    """
    require(chip_mm > 0.0, f"chip_mm is {chip_mm}, must be above 0")
    return float(unit_force_n_mm2 * chip_mm**-exponent)


def cutting_power_w(
    specific_n_mm2: float, *, width_mm: float, depth_mm: float, feed_mm_s: float
) -> float:
    """Return the power at the cutter: specific force times volume per second [W].

    ``P = kc ae ap vf``; losses of spindle and drive come on top.
    """
    return specific_n_mm2 * width_mm * depth_mm * feed_mm_s / 1000.0


def mean_tangential_n(power_w: float, *, diameter_mm: float, spindle_hz: float) -> float:
    """Return the force along the cutter's rim, averaged over its turn: ``P / (pi D n)`` [N].

    Raises
    ------
    ModelError
        If the rim does not move.
    """
    speed_m_s = pi * diameter_mm * spindle_hz / 1000.0
    require(speed_m_s > 0.0, f"diameter {diameter_mm} mm at {spindle_hz} Hz does not move")
    return power_w / speed_m_s


def edge_force_n(chip_mm: float, depth_mm: float, *, shear_n_mm2: float, edge_n_mm: float) -> float:
    """Return the tangential force of one tooth: ``Ft = Ktc a h + Kte a`` [N].

    Parameters
    ----------
    chip_mm, depth_mm : float
        Thickness h of the chip and depth a [mm].
    shear_n_mm2, edge_n_mm : float
        Ktc and Kte. For aluminium a review lists 244 to 1319 and 7.5 to 27.7: Chin. J. Mech.
        Eng. 2021, "Milling force model for aviation aluminum alloy", table 5 [N/mm2, N/mm].
    """
    return shear_n_mm2 * depth_mm * chip_mm + edge_n_mm * depth_mm


def deflection_mm(
    force_n: float, *, length_mm: float, diameter_mm: float, modulus_n_mm2: float = 600_000.0
) -> float:
    """Return how far the tip of a cutter gives way: ``F L^3 / (3 E I)`` [mm].

    Parameters
    ----------
    force_n : float
        Force on the tip [N].
    length_mm : float
        Length that stands free [mm].
    diameter_mm : float
        Diameter of a plain cylinder as stiff; about 0.8 of a cutter's own (from memory) [mm].
    modulus_n_mm2 : float
        Young's modulus; the default is cemented carbide's (from memory) [N/mm2].

    Raises
    ------
    ModelError
        If diameter or modulus is not above 0.
    """
    stiff = diameter_mm > 0.0 and modulus_n_mm2 > 0.0
    require(stiff, f"diameter {diameter_mm} mm and modulus {modulus_n_mm2} N/mm2 must be above 0")
    inertia_mm4 = pi * diameter_mm**4 / 64.0
    return force_n * length_mm**3 / (3.0 * modulus_n_mm2 * inertia_mm4)


def _require_turning(flutes: int, spindle_hz: float) -> None:
    require(flutes >= 1, f"a cutter with {flutes} flutes cuts nothing, least is 1")
    require(spindle_hz > 0.0, f"spindle_hz is {spindle_hz}, must be above 0")


def _require_chip(chip_load_mm: float) -> None:
    require(chip_load_mm >= 0.0, f"chip_load_mm is {chip_load_mm}, must not be below 0")
