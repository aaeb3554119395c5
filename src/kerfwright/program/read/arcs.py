"""Arcs in the plane XY: the rule that makes them legal, their centre and sweep."""

from __future__ import annotations

from math import asin, atan2, hypot, pi, sqrt

from kerfwright.program.read.refuse import refusal
from kerfwright.program.read.words import Words

TOLERANCE_MM, TOLERANCE_INCH = 0.002, 0.0002
"""Greatest difference of the radii to start and end, NISTIR 6556 section 3.5.3."""

_NOISE = 1e-9
"""Rounding of binary numbers: two places closer than this are one [mm]."""

Arc = tuple[float, float, float]


def arc_of(
    words: Words,
    line: int,
    *,
    start: tuple[float, float],
    end: tuple[float, float],
    is_ccw: bool,
    mm: float,
) -> Arc:
    """Return centre x, y and signed sweep of an arc.

    Parameters
    ----------
    words : dict of str to float
        Words of the line, in the program's units.
    line : int
        Its number.
    start, end : tuple of float
        Places in millimetres.
    is_ccw : bool
        Whether it is G3.
    mm : float
        Millimetres in one unit of the program.
    """
    _check_words(words, line)
    slack = (TOLERANCE_MM if mm == 1.0 else TOLERANCE_INCH * mm) + _NOISE
    if "R" in words:
        return _by_radius(words["R"] * mm, line, start=start, end=end, is_ccw=is_ccw, slack=slack)
    i, j = words.get("I", 0.0) * mm, words.get("J", 0.0) * mm
    radius = hypot(i, j)
    if radius <= _NOISE:
        raise refusal("PRG-174", line)
    x, y = start[0] + i, start[1] + j
    ex, ey = end[0] - x, end[1] - y
    gap = abs(radius - hypot(ex, ey))
    if gap > slack:
        raise refusal("PRG-175", line, measured=gap, limit=slack - _NOISE, unit="mm")
    if abs(end[0] - start[0]) <= _NOISE and abs(end[1] - start[1]) <= _NOISE:
        turn = 0.0
    else:
        turn = atan2(j * ex - i * ey, -i * ex - j * ey)
    if is_ccw:
        return x, y, turn if turn > 0.0 else turn + 2.0 * pi
    return x, y, turn if turn < 0.0 else turn - 2.0 * pi


def _check_words(words: Words, line: int) -> None:
    if "X" not in words and "Y" not in words:
        raise refusal("PRG-170", line)
    if "K" in words:
        raise refusal("PRG-173", line)
    by_centre = "I" in words or "J" in words
    if "R" in words and by_centre:
        raise refusal("PRG-172", line)
    if "R" not in words and not by_centre:
        raise refusal("PRG-171", line)


def _by_radius(
    radius: float,
    line: int,
    *,
    start: tuple[float, float],
    end: tuple[float, float],
    is_ccw: bool,
    slack: float,
) -> Arc:
    """Return the arc of a radius; a negative one takes the way of more than half a turn."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    half = hypot(dx, dy) / 2.0
    if half <= _NOISE:
        raise refusal("PRG-177", line)
    if abs(radius) <= _NOISE:
        raise refusal("PRG-174", line)
    if half - abs(radius) > slack:
        raise refusal("PRG-176", line, measured=abs(radius), limit=half, unit="mm")
    size = max(abs(radius), half)
    # The centre lies left of the way from start to end for the short way round of G3.
    side = sqrt(size * size - half * half) * (1.0 if (radius > 0.0) == is_ccw else -1.0)
    x = (start[0] + end[0]) / 2.0 - dy / (2.0 * half) * side
    y = (start[1] + end[1]) / 2.0 + dx / (2.0 * half) * side
    short = 2.0 * asin(min(1.0, half / size))
    sweep = short if radius > 0.0 else 2.0 * pi - short
    return x, y, sweep if is_ccw else -sweep
