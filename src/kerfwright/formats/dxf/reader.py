"""Read one DXF file in the reading process: from a request to plain arrays in millimetres."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from kerfwright.formats.dxf.checks import measure, refuse_not_finite, refuse_too_large
from kerfwright.formats.dxf.collect import Collector
from kerfwright.formats.dxf.count import check_counts
from kerfwright.formats.dxf.expand import Placed, place
from kerfwright.formats.dxf.load import load
from kerfwright.formats.dxf.notes import Notes
from kerfwright.formats.dxf.plane import flatten
from kerfwright.formats.dxf.shapes import Shapes
from kerfwright.formats.dxf.style import Layers
from kerfwright.formats.limits import ReadLimits
from kerfwright.formats.unit_question import HeaderUnits, UnitAnswer, answer_units
from kerfwright.units import DRAWING_UNITS_MM

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document

Answer = tuple[dict[str, Any], dict[str, Any]]


def read(request: Mapping[str, Any]) -> Answer:
    """Read a file.

    Parameters
    ----------
    request : mapping
        ``path``, ``file`` (its name for messages), ``units``, ``scale``, ``tolerance_mm`` and
        ``limits``.
    """
    file, limits = str(request["file"]), ReadLimits(**request["limits"])
    notes = Notes()
    document = load(Path(request["path"]), file=file, notes=notes)
    placed = _place_all(document, notes, file=file, limits=limits)
    refuse_not_finite(placed, file=file)
    size, reach = measure(placed.shapes)
    answer = answer_units(
        header_units(document),
        size=size,
        reach=reach,
        units=request["units"],
        limit_mm=limits.coordinate_mm,
        scale=request["scale"],
    )
    factor = DRAWING_UNITS_MM[answer.unit] * request["scale"]
    placed = replace(placed, shapes=scaled(placed.shapes, factor))
    refuse_too_large(placed, file=file, unit=answer.unit, limit_mm=limits.coordinate_mm)
    _note_rest(document, notes)
    return _answer(placed, answer, notes, file=file, limits=limits, request=request)


def _place_all(document: Document, notes: Notes, *, file: str, limits: ReadLimits) -> Placed:
    collector = Collector(
        document=document,
        notes=notes,
        file=file,
        most_entities=limits.entities,
        most_copies=limits.instances,
    )
    blocks = collector.collect()
    paths = check_counts(blocks, file=file, limits=limits)
    return place(blocks, Layers(document), notes, paths=paths)


def _answer(
    placed: Placed,
    answer: UnitAnswer,
    notes: Notes,
    *,
    file: str,
    limits: ReadLimits,
    request: Mapping[str, Any],
) -> Answer:
    flat = flatten(
        placed.shapes,
        tolerance_mm=request["tolerance_mm"],
        most_points=limits.points,
        file=file,
        notes=notes,
    )
    looks = [placed.look[k] for k in flat.path]
    header = {
        "unit": answer.unit,
        "unit_is_certain": answer.is_certain,
        "unit_evidence": dict(answer.evidence),
        "unit_doubt": answer.doubt,
        "unit_contradicted": answer.contradicted,
        "source": [placed.source[k] for k in flat.path],
        "layer": [look.layer for look in looks],
        "colour": [look.colour for look in looks],
        "notes": notes.finish(),
    }
    arrays = {
        "points": flat.points,
        "bulges": flat.bulges,
        "starts": flat.starts,
        "closed": flat.closed,
        "width_mm": np.array([look.width_mm for look in looks], dtype=np.float64),
    }
    return header, arrays


def scaled(shapes: Shapes, factor: float) -> Shapes:
    """Return shapes enlarged about the origin."""
    chains, conics = shapes.chains, shapes.conics
    with np.errstate(over="ignore"):  # what becomes infinite is refused by its size
        return replace(
            shapes,
            chains=replace(chains, points=chains.points * factor),
            conics=replace(conics, frame=conics.frame * factor),
            splines=tuple(replace(s, control=s.control * factor) for s in shapes.splines),
        )


def header_units(document: Document) -> HeaderUnits:
    """Return what the header says about units."""
    header = document.header

    def number(name: str) -> int | None:
        try:
            return int(header[name]) if name in header else None
        except (TypeError, ValueError, OverflowError):
            return None

    return HeaderUnits(
        insunits=number("$INSUNITS"),
        measurement=number("$MEASUREMENT"),
        lunits=number("$LUNITS"),
    )


def _note_rest(document: Document, notes: Notes) -> None:
    """Say what lies in paper space, which is never cut."""
    count = sum(
        1
        for name in document.layout_names()
        if name != "Model"
        for entity in document.layout(name)
        if entity.dxftype() != "VIEWPORT"
    )
    if count:
        notes.add("DXF-121", params={"count": count})
