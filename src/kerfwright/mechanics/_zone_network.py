"""Kernels of the zone network; all flows in kg/s, all drops in Pa."""

from __future__ import annotations

from math import sqrt

import numpy as np

from kerfwright.geometry.record import F64
from kerfwright.kernels import inner, kernel
from kerfwright.mechanics.leaks import CRACK_EXPONENT

_REFERENCE_PA = 1000.0
_MOST = 200


@inner
def _crack(at_one: float, drop: float) -> float:
    return at_one * (drop / _REFERENCE_PA) ** CRACK_EXPONENT if drop > 0.0 else 0.0


@inner
def _in_a_row(slit: float, mat: float, drop: float) -> float:
    """Return the flow through a slit and then a strip of mat.

    The drop over both is a rising and bending function of the flow, so Newton's steps come down
    from a flow that is too large without ever passing the answer.
    """
    if slit == 0.0 or mat == 0.0 or drop <= 0.0:
        return 0.0
    q = min(slit * sqrt(drop), _crack(mat, drop))
    for _ in range(_MOST):
        one = (q / slit) ** 2
        two = _REFERENCE_PA * (q / mat) ** (1.0 / CRACK_EXPONENT)
        over = one + two - drop
        step = over * q / (2.0 * one + two / CRACK_EXPONENT)
        q -= step
        if step <= 1e-15 * q:
            break
    return q


@inner
def _through_zone(
    plenum: float, valve: float, steady: float, slit: float, mat: float
) -> tuple[float, float]:
    """Return the drop below the sheet and the flow of one zone at the vacuum of the pump."""
    if plenum <= 0.0:
        return 0.0, 0.0
    low, high = 0.0, plenum
    f_low = _crack(valve, plenum)  # what the valve passes less what leaks in, falls with the drop
    f_high = -_crack(steady, plenum) - _in_a_row(slit, mat, plenum)
    if f_high == 0.0:
        return plenum, 0.0
    drop, side = plenum, 0
    for _ in range(_MOST):
        drop = (low * f_high - high * f_low) / (f_high - f_low)
        if not low < drop < high:
            drop = (low + high) / 2.0
        f = _crack(valve, plenum - drop) - _crack(steady, drop) - _in_a_row(slit, mat, drop)
        if f > 0.0:
            low, f_low = drop, f
            f_high *= 0.5 if side > 0 else 1.0  # Illinois: the end that stays counts half
            side = 1
        else:
            high, f_high = drop, f
            f_low *= 0.5 if side < 0 else 1.0
            side = -1
        if abs(f) <= 1e-15 or high - low <= 1e-15 * plenum:
            break
    return drop, _crack(steady, drop) + _in_a_row(slit, mat, drop)


@inner
def _balance(
    plenum: float,
    free: float,
    line_end: float,
    valve: F64,
    steady: F64,
    slit: F64,
    mat: F64,
    out: F64,
) -> float:
    """Return what the pump draws less what all zones let in; puts the zones' drops into `out`."""
    total = free * (1.0 - plenum / line_end)
    for z in range(len(valve)):
        drop, flow = _through_zone(plenum, valve[z], steady[z], slit[z], mat[z])
        out[z] = drop
        total -= flow
    return total


@kernel
def solve_zones(
    free: float, closed: float, line_end: float, valve: F64, steady: F64, slit: F64, mat: F64
) -> F64:
    """Return the drop of each zone and the imbalance, (T, Z + 1).

    `line_end` is the vacuum at which the pump's straight line would draw nothing.
    """
    moments, zones = slit.shape
    out = np.zeros((moments, zones + 1))
    for t in range(moments):
        drops = out[t, :zones]
        f_high = _balance(closed, free, line_end, valve, steady, slit[t], mat[t], drops)
        out[t, zones] = f_high
        if f_high >= 0.0:
            continue
        low, high, f_low, side = 0.0, closed, free, 0
        for _ in range(_MOST):
            plenum = (low * f_high - high * f_low) / (f_high - f_low)
            if not low < plenum < high:
                plenum = (low + high) / 2.0
            f = _balance(plenum, free, line_end, valve, steady, slit[t], mat[t], drops)
            out[t, zones] = f
            if f > 0.0:
                low, f_low = plenum, f
                f_high *= 0.5 if side > 0 else 1.0
                side = 1
            else:
                high, f_high = plenum, f
                f_low *= 0.5 if side < 0 else 1.0
                side = -1
            if abs(f) <= 1e-13 or high - low <= 1e-15 * closed:
                break
    return out
