"""One entity of the file into the shapes of a run; what is no line is named by its theme."""

from __future__ import annotations

from collections.abc import Callable
from math import pi, radians
from typing import Any, Final

import numpy as np
from ezdxf.math import fit_points_to_cad_cv

from kerfwright.formats.dxf.ocs import WORLD, Axes, Vector, axes_of, to_world
from kerfwright.formats.dxf.shapes import RunBuilder
from kerfwright.formats.dxf.splines import sound_spline

# What is no line to cut, by the code that says so.
NO_LINES: Final = {
    **dict.fromkeys(("TEXT", "MTEXT", "ATTRIB", "ATTDEF", "ARC_ALIGNED_TEXT", "RTEXT"), "text"),
    **dict.fromkeys(
        ("DIMENSION", "ARC_DIMENSION", "LARGE_RADIAL_DIMENSION", "LEADER", "MULTILEADER", "MLEADER",
         "TOLERANCE", "ACAD_TABLE", "VIEWPORT", "LIGHT", "SUN", "GEODATA"),
        "note",
    ),
    **dict.fromkeys(("HATCH", "MPOLYGON", "SOLID", "TRACE", "WIPEOUT"), "fill"),
    **dict.fromkeys(
        ("3DFACE", "3DSOLID", "BODY", "REGION", "SURFACE", "EXTRUDEDSURFACE", "LOFTEDSURFACE",
         "REVOLVEDSURFACE", "SWEPTSURFACE", "PLANESURFACE", "NURBSURFACE", "MESH", "POLYMESH",
         "POLYFACE", "HELIX", "IMAGE", "UNDERLAY", "PDFUNDERLAY", "DWFUNDERLAY", "DGNUNDERLAY",
         "OLE2FRAME", "OLEFRAME"),
        "body",
    ),
}  # fmt: skip
_SPLINE_FRAME, _VERTEX_OF_CURVE = 16, 4 | 2
_POLYLINE_3D, _POLYMESH, _POLYFACE, _CLOSED = 8, 16, 64, 1


class UnusableError(ValueError):
    """An entity whose values make no shape; the text says why."""


class FromFitPoints:
    """Mark returned for a spline that the file gives only by the points it passes."""


def add_entity(run: RunBuilder, entity: Any) -> type[FromFitPoints] | None:  # noqa: ANN401
    """Add one entity to a run, or raise `UnusableError`; the caller names it afterwards.

    Raises
    ------
    UnusableError
        If the values of the entity make no shape.
    KeyError
        If the kind of entity is unknown here.
    """
    return _READERS[entity.dxftype()](run, entity)


def is_line(kind: str) -> bool:
    """Return whether a kind of entity is read as lines."""
    return kind in _READERS


def kind_of(entity: Any) -> str:  # noqa: ANN401 - ezdxf entities have no common static type
    """Return the kind of an entity; meshes hide behind POLYLINE."""
    kind: str = entity.dxftype()
    if kind == "POLYLINE" and int(entity.dxf.get("flags", 0)) & (_POLYMESH | _POLYFACE):
        return "POLYMESH" if int(entity.dxf.flags) & _POLYMESH else "POLYFACE"
    return kind


def _vector(value: Any) -> Vector:  # noqa: ANN401 - a vector of ezdxf or a tuple
    x, y, *rest = (float(v) for v in value)
    return x, y, rest[0] if rest else 0.0


def _plane(entity: Any) -> Axes:  # noqa: ANN401
    try:
        return axes_of(entity.dxf.get("extrusion", WORLD[2]))
    except ValueError as error:
        raise UnusableError(str(error)) from None


def _line(run: RunBuilder, entity: Any) -> None:  # noqa: ANN401
    ends = [_vector(entity.dxf.start), _vector(entity.dxf.end)]
    run.add_chain(ends, [0.0, 0.0], closed=False)


def _point(run: RunBuilder, entity: Any) -> None:  # noqa: ANN401
    run.add_chain([_vector(entity.dxf.location)], [0.0], closed=False)


def _circle(run: RunBuilder, entity: Any) -> None:  # noqa: ANN401
    _add_arc(run, entity, start=0.0, sweep=2.0 * pi)


def _arc(run: RunBuilder, entity: Any) -> None:  # noqa: ANN401
    begin, end = float(entity.dxf.start_angle), float(entity.dxf.end_angle)
    _add_arc(run, entity, start=radians(begin), sweep=radians((end - begin) % 360.0 or 360.0))


def _add_arc(run: RunBuilder, entity: Any, *, start: float, sweep: float) -> None:  # noqa: ANN401
    axes, radius = _plane(entity), float(entity.dxf.radius)
    if radius <= 0.0:
        msg = f"radius {radius:g} is not above 0"
        raise UnusableError(msg)
    (a, b, c), (d, e, f), _ = axes
    run.add_conic(
        to_world(axes, *_vector(entity.dxf.center)),
        (a * radius, b * radius, c * radius),
        (d * radius, e * radius, f * radius),
        start=start,
        sweep=sweep,
    )


def _ellipse(run: RunBuilder, entity: Any) -> None:  # noqa: ANN401
    dxf = entity.dxf
    major, ratio = _vector(dxf.major_axis), float(dxf.ratio)
    normal = _plane(entity)[2]
    across = (
        normal[1] * major[2] - normal[2] * major[1],
        normal[2] * major[0] - normal[0] * major[2],
        normal[0] * major[1] - normal[1] * major[0],
    )
    if not any(major) or ratio == 0.0:
        msg = f"axes of no length (ratio {ratio:g})"
        raise UnusableError(msg)
    minor = (across[0] * ratio, across[1] * ratio, across[2] * ratio)
    begin, end = float(dxf.start_param), float(dxf.end_param)
    sweep = (end - begin) % (2.0 * pi) or 2.0 * pi
    run.add_conic(_vector(dxf.center), major, minor, start=begin, sweep=sweep)


def _lwpolyline(run: RunBuilder, entity: Any) -> None:  # noqa: ANN401
    axes, z = _plane(entity), float(entity.dxf.get("elevation", 0.0))
    rows = entity.get_points("xyb")
    points = [to_world(axes, float(x), float(y), z) for x, y, _ in rows]
    _add_polyline(run, points, [float(b) for *_, b in rows], closed=entity.closed, plane=axes)


def _polyline(run: RunBuilder, entity: Any) -> None:  # noqa: ANN401
    flags = int(entity.dxf.get("flags", 0))
    # The frame of a curve that was fitted by the sender's program is not part of the line.
    kept = [
        v
        for v in entity.vertices
        if not (flags & _VERTEX_OF_CURVE and int(v.dxf.get("flags", 0)) & _SPLINE_FRAME)
    ]
    places = [_vector(v.dxf.location) for v in kept]
    closed = bool(flags & _CLOSED)
    if flags & _POLYLINE_3D:
        _add_polyline(run, places, [0.0] * len(places), closed=closed, plane=None)
        return
    axes, z = _plane(entity), _vector(entity.dxf.get("elevation", (0.0, 0.0, 0.0)))[2]
    bulges = [float(v.dxf.get("bulge", 0.0)) for v in kept]
    _add_polyline(
        run, [to_world(axes, x, y, z) for x, y, _ in places], bulges, closed=closed, plane=axes
    )


def _add_polyline(
    run: RunBuilder,
    points: list[Vector],
    bulges: list[float],
    *,
    closed: bool,
    plane: Axes | None,
) -> None:
    if len(points) < 2:
        msg = f"a polyline of {len(points)} points"
        raise UnusableError(msg)
    if not closed:
        bulges[-1] = 0.0  # belongs to an edge that is not there
    run.add_chain(points, bulges, closed=closed, plane=plane)


def _spline(run: RunBuilder, entity: Any) -> type[FromFitPoints] | None:  # noqa: ANN401
    control, weights, knots = entity.control_points, entity.weights, entity.knots
    degree, mark = int(entity.dxf.degree), None
    if not len(control):
        curve = _through_fit_points(entity)
        control, weights, knots = curve.control_points, curve.weights(), curve.knots()
        degree, mark = curve.degree, FromFitPoints
    p = np.array([_vector(v) for v in control], dtype=np.float64)
    w = np.array(list(weights) or [1.0] * len(p), dtype=np.float64)
    k = np.array(list(knots), dtype=np.float64)
    try:
        p, w, k = sound_spline(p, w, k, degree)
    except ValueError as error:
        raise UnusableError(str(error)) from None
    run.add_spline(p, w, k, degree=degree, closed=bool(entity.closed))
    return mark


def _through_fit_points(entity: Any) -> Any:  # noqa: ANN401
    count = len(entity.fit_points)
    if count < 2:
        msg = f"a spline of {count} fit points and no control points"
        raise UnusableError(msg)
    ends = ("start_tangent", "end_tangent")
    given = all(entity.dxf.hasattr(name) for name in ends)
    tangents = [entity.dxf.get(name) for name in ends] if given else None
    return fit_points_to_cad_cv(entity.fit_points, tangents=tangents)


_READERS: Final[dict[str, Callable[[RunBuilder, Any], type[FromFitPoints] | None]]] = {
    "LINE": _line,
    "POINT": _point,
    "CIRCLE": _circle,
    "ARC": _arc,
    "ELLIPSE": _ellipse,
    "LWPOLYLINE": _lwpolyline,
    "POLYLINE": _polyline,
    "SPLINE": _spline,
}
