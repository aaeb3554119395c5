"""The basic shapes as outlines (SVG 2 chapter 10), begun and turned as the standard says."""

from __future__ import annotations

from collections.abc import Callable
from math import pi
from typing import Final

from kerfwright.formats.svg.arcs import Ellipse, Point
from kerfwright.formats.svg.lengths import ACROSS, DIAGONAL, UPRIGHT
from kerfwright.formats.svg.numbers import number_list
from kerfwright.formats.svg.path_data import parse_path
from kerfwright.formats.svg.pile import Outlining

Lengths = Callable[[str, int], float | None]
"""Takes the name of a property and an axis; returns the length in user units, None for "auto"."""

SHAPES: Final = ("path", "rect", "circle", "ellipse", "line", "polyline", "polygon")


def draw_rect(pile: Outlining, get: Lengths) -> None:
    """Draw a rectangle; radii that were not given or are negative are those of the other axis."""
    x, y = get("x", ACROSS) or 0.0, get("y", UPRIGHT) or 0.0
    w, h = get("width", ACROSS) or 0.0, get("height", UPRIGHT) or 0.0
    if w <= 0.0 or h <= 0.0:
        return
    rx, ry = _radii(get)
    rx, ry = min(rx, w / 2.0), min(ry, h / 2.0)
    if rx <= 0.0 or ry <= 0.0:
        pile.move((x, y))
        for corner in ((x + w, y), (x + w, y + h), (x, y + h)):
            pile.line(corner)
        pile.close()
        return
    left, right, top, bottom = x + rx, x + w - rx, y + ry, y + h - ry
    pile.move((left, y))
    corners = (
        ((right, y), (right, top), (x + w, top)),
        ((x + w, bottom), (right, bottom), (right, y + h)),
        ((left, y + h), (left, bottom), (x, bottom)),
        ((x, top), (left, top), (left, y)),
    )
    for k, (begin, centre, end) in enumerate(corners):
        if begin != pile.at:
            pile.line(begin)
        pile.arc(Ellipse(centre, (rx, 0.0), (0.0, ry), (k - 1) * pi / 2.0, pi / 2.0), end)
    pile.close()


def _radii(get: Lengths) -> Point:
    """Return both radii with "auto" resolved; a negative one is an error and counts as auto."""
    rx, ry = get("rx", ACROSS), get("ry", UPRIGHT)
    rx = None if rx is not None and rx < 0.0 else rx
    ry = None if ry is not None and ry < 0.0 else ry
    rx, ry = (ry if rx is None else rx), (rx if ry is None else ry)
    return rx or 0.0, ry or 0.0


def draw_circle(pile: Outlining, get: Lengths) -> None:
    """Draw a circle."""
    r = get("r", DIAGONAL) or 0.0
    _oval(pile, (get("cx", ACROSS) or 0.0, get("cy", UPRIGHT) or 0.0), r, r)


def draw_ellipse(pile: Outlining, get: Lengths) -> None:
    """Draw an ellipse."""
    _oval(pile, (get("cx", ACROSS) or 0.0, get("cy", UPRIGHT) or 0.0), *_radii(get))


def _oval(pile: Outlining, centre: Point, rx: float, ry: float) -> None:
    """Draw two halves, from three o'clock by way of six."""
    if rx <= 0.0 or ry <= 0.0:
        return
    x, y = centre
    pile.move((x + rx, y))
    u, v = (rx, 0.0), (0.0, ry)
    pile.arc(Ellipse(centre, u, v, 0.0, pi), (x - rx, y))
    pile.arc(Ellipse(centre, u, v, pi, pi), (x + rx, y))
    pile.close()


def draw_line(pile: Outlining, get: Callable[[str, int], float]) -> None:
    """Draw a line."""
    pile.move((get("x1", ACROSS), get("y1", UPRIGHT)))
    pile.line((get("x2", ACROSS), get("y2", UPRIGHT)))


def draw_points(pile: Outlining, text: str, *, closed: bool) -> str:
    """Draw a polyline or polygon and return what is wrong with its points, or nothing."""
    numbers, sound = number_list(text)
    points = list(zip(numbers[::2], numbers[1::2], strict=False))
    if points:
        pile.move(points[0])
        for point in points[1:]:
            pile.line(point)
        if closed:
            pile.close()
    if not sound:
        return f"no number after {len(numbers)} of them"
    return "an odd number of coordinates" if len(numbers) % 2 else ""


def draw_path(pile: Outlining, text: str) -> str:
    """Draw a path and return what is wrong with its data, or nothing."""
    data = parse_path(text)
    pile.draw(data.segments)
    return data.fault
