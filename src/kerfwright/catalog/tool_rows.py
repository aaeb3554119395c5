"""One row of the tool book -> one tool."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TypedDict

import numpy as np

from kerfwright.catalog.cells import (
    Row,
    as_number,
    as_text,
    count_of,
    list_of,
    number_of,
    only_keys,
    text_of,
    truth_of,
)
from kerfwright.errors import ModelError
from kerfwright.geometry.record import F64, require
from kerfwright.model.operation import HeadKind
from kerfwright.model.tooling import Blade, Cutter, Pen, Tool, Wheel
from kerfwright.units import RAD_PER_DEG

_COMMON = ("kind", "free_length_mm", "fits")


class _Common(TypedDict):
    id: str
    free_length_mm: float
    fits: tuple[HeadKind, ...]
    source: str


def tool(key: str, row: Row) -> Tool:
    """Return the tool of a row; angles in degrees."""
    kind = text_of(row, "kind")
    known = ", ".join(_BUILDERS)
    require(kind in _BUILDERS, f"tool kind {kind} is not known; known: {known}")
    return _BUILDERS[kind](key, row)


def _blade(key: str, row: Row) -> Tool:
    only_keys(
        row, *_COMMON, "width_mm", "lead_deg", "trail_deg", "tip_mm", "reference_mm", "bevel"
    )  # fmt: skip
    return Blade(
        lead_rad=number_of(row, "lead_deg") * RAD_PER_DEG,
        trail_rad=number_of(row, "trail_deg") * RAD_PER_DEG,
        bevel=row["bevel"],
        width_mm=number_of(row, "width_mm"),
        tip_mm=number_of(row, "tip_mm"),
        reference_mm=number_of(row, "reference_mm"),
        **_common(key, row),
    )


def _cutter(key: str, row: Row) -> Tool:
    only_keys(row, *_COMMON, "diameter_mm", "profile_mm", "flutes", "length_mm", "plunges")
    length = number_of(row, "length_mm")
    return Cutter(
        profile_mm=_profile(row, length),
        flutes=count_of(row, "flutes"),
        length_mm=length,
        plunges=truth_of(row, "plunges"),
        **_common(key, row),
    )


def _profile(row: Row, length_mm: float) -> F64:
    """Return the profile: an end mill from its diameter, others from radius and height."""
    require(
        ("diameter_mm" in row) != ("profile_mm" in row),
        "a cutter has either diameter_mm, as an end mill, or profile_mm, radius and height of "
        "each point; give one of them",
    )
    if "diameter_mm" in row:
        radius = number_of(row, "diameter_mm") / 2.0
        return np.array([[radius, 0.0], [radius, length_mm]])
    points = [_point(point) for point in list_of(row, "profile_mm")]
    return np.array(points, np.float64).reshape(-1, 2)


def _point(point: object) -> list[float]:
    if not isinstance(point, list) or len(point) != 2:
        raise ModelError(f"profile_mm: {point!r} is not radius and height of a point")
    return [as_number("profile_mm", value) for value in point]


def _wheel(key: str, row: Row) -> Tool:
    only_keys(row, *_COMMON, "diameter_mm", "rim_mm", "reference_mm")
    return Wheel(
        diameter_mm=number_of(row, "diameter_mm"),
        rim_mm=number_of(row, "rim_mm"),
        reference_mm=number_of(row, "reference_mm"),
        **_common(key, row),
    )


def _pen(key: str, row: Row) -> Tool:
    only_keys(row, *_COMMON, "line_mm")
    return Pen(line_mm=number_of(row, "line_mm"), **_common(key, row))


def _common(key: str, row: Row) -> _Common:
    return {
        "id": key,
        "free_length_mm": number_of(row, "free_length_mm"),
        "fits": tuple(HeadKind(as_text("fits", k)) for k in list_of(row, "fits")),
        "source": text_of(row, "source"),
    }


_BUILDERS: Mapping[str, Callable[[str, Row], Tool]] = {
    "blade": _blade,
    "cutter": _cutter,
    "wheel": _wheel,
    "pen": _pen,
}
