"""Read one SVG file in the reading process: from a request to plain arrays in millimetres."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from kerfwright.errors import UnreadableError
from kerfwright.formats.dxf.pile import Flat
from kerfwright.formats.limits import ReadLimits
from kerfwright.formats.notes import Notes
from kerfwright.formats.pdf.clips import ClipChecker
from kerfwright.formats.pdf.store import Store
from kerfwright.formats.source import source_line
from kerfwright.formats.svg.cascade import Cascade
from kerfwright.formats.svg.count import check_copies
from kerfwright.formats.svg.exact import samples
from kerfwright.formats.svg.fitting import fit_outlines
from kerfwright.formats.svg.matrices import Matrix
from kerfwright.formats.svg.names import handle_of
from kerfwright.formats.svg.numbers import HugeNumberError
from kerfwright.formats.svg.outlines import Outlines, outlines_of
from kerfwright.formats.svg.page import Page, page_of
from kerfwright.formats.svg.sheets import Sheets
from kerfwright.formats.svg.spot import Shape
from kerfwright.formats.svg.tree import Tree, load, place_of
from kerfwright.formats.svg.walk import Walker
from kerfwright.geometry.paths import PathSet


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """The lines of a drawing before arcs are fitted.

    Parameters
    ----------
    outlines : Outlines
        Pieces as the file gives them [mm].
    shapes : list of Shape
        Painted shapes the outlines belong to.
    matrices : list of tuple
        Matrices from the user units of shapes to the artwork frame.
    clips : Store
        The clips.
    page : Page
        Size of the page.
    """

    outlines: Outlines
    shapes: list[Shape]
    matrices: list[Matrix]
    clips: Store
    page: Page


def read(request: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Read a file.

    Parameters
    ----------
    request : mapping
        ``path``, ``file`` (its name for messages), ``units``, ``scale``, ``tolerance_mm`` and
        ``limits``.
    """
    file, limits = str(request["file"]), ReadLimits(**request["limits"])
    notes = Notes()
    tree = load(Path(request["path"]), file=file, limits=limits, notes=notes)
    lines = lines_of(
        tree,
        file=file,
        units=request["units"],
        scale=request["scale"],
        limits=limits,
        notes=notes,
    )
    flat = fit_outlines(
        lines.outlines,
        tolerance_mm=request["tolerance_mm"],
        most_points=limits.points,
        file=file,
        notes=notes,
    )
    note_clipped(lines, flat, notes)
    return _answer(lines, flat, notes)


def lines_of(
    tree: Tree,
    *,
    file: str,
    units: str | None = None,
    scale: float = 1.0,
    limits: ReadLimits,
    notes: Notes,
) -> Lines:
    """Return the lines of a drawing as the file gives them.

    Raises
    ------
    UnreadableError
        If a number is beyond what a drawing can mean.
    OutOfResourcesError
        If a limit was reached.
    """
    check_copies(tree, file=file, limits=limits)
    sheets = Sheets(notes, file)
    sheets.read(tree.root)
    cascade = Cascade(sheets)
    try:
        page = page_of(tree.root, cascade.of(tree.root), units=units, scale=scale, notes=notes)
    except HugeNumberError as error:
        msg = (
            f"{file}: {place_of(tree.root)}: the number {error} is beyond 1e30, which no page can "
            "mean; correct size and viewBox"
        )
        raise UnreadableError(msg) from error
    walker = Walker(tree, cascade, page, notes, file, limits)
    walker.walk()
    matrices = list(walker.matrices)
    outlines, unseen, dots = outlines_of(
        walker.pile, walker.shapes, matrices, limit_mm=limits.coordinate_mm, file=file
    )
    if dots:
        notes.count("SVG-132", "points", dots)
    for k in unseen:
        notes.count("SVG-120", place_of(walker.shapes[k].element))
    return Lines(
        outlines=outlines,
        shapes=walker.shapes,
        matrices=matrices,
        clips=walker.clips.store,
        page=page,
    )


def note_clipped(lines: Lines, flat: Flat, notes: Notes) -> None:
    """Say which lines reach out of the page or of a clip."""
    if not len(flat.path):
        return
    paths = PathSet(points=flat.points, bulges=flat.bulges, starts=flat.starts, closed=flat.closed)
    shapes = [lines.shapes[k] for k in lines.outlines.shape[flat.path]]
    clip = np.array([s.clip for s in shapes], dtype=np.int64)
    checker = ClipChecker(lines.clips)
    points, starts = samples(lines.outlines, flat.path)
    hidden = checker.hidden(clip, paths.bounds_mm(), points, starts)
    for k in np.flatnonzero(hidden):
        notes.count("SVG-141", shapes[k].layer or place_of(shapes[k].element))
    if checker.unchecked:
        notes.count("SVG-143", "clips of very many edges", checker.unchecked)


def _answer(lines: Lines, flat: Flat, notes: Notes) -> tuple[dict[str, Any], dict[str, Any]]:
    number = lines.outlines.shape[flat.path]
    shapes = [lines.shapes[k] for k in number]
    page = lines.page
    header = {
        "unit": page.unit,
        "unit_mm": page.unit_mm,
        "unit_is_certain": not page.doubt,
        "unit_evidence": {},
        "unit_doubt": page.doubt,
        "unit_contradicted": page.contradicted,
        "unit_codes": ["SVG-101", "SVG-102"],
        "empty_code": "SVG-150",
        "source": [
            source_line(*handle_of(s.element, int(k) + 1), s.names)
            for k, s in zip(number, shapes, strict=True)
        ],
        "layer": [s.layer for s in shapes],
        "separation": [s.ink.ink for s in shapes],
        "colour": [s.ink.colour for s in shapes],
        "notes": notes.finish(),
    }
    arrays = {
        "points": flat.points,
        "bulges": flat.bulges,
        "starts": flat.starts,
        "closed": flat.closed,
        "width_mm": np.array([s.width for s in shapes], dtype=np.float64),
    }
    return header, arrays
