"""Read one page of a PDF file in the reading process: to plain arrays in millimetres."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from kerfwright.errors import UnreadableError
from kerfwright.formats.dxf.pile import Flat
from kerfwright.formats.limits import ReadLimits
from kerfwright.formats.notes import Notes, listed
from kerfwright.formats.pdf.clips import ClipChecker
from kerfwright.formats.pdf.document import OpenPage, Streams, open_page
from kerfwright.formats.pdf.fitting import fit_outlines
from kerfwright.formats.pdf.layers import Layers
from kerfwright.formats.pdf.machine import Machine
from kerfwright.formats.pdf.outlines import Outlines, outlines_of
from kerfwright.formats.pdf.page import PageFrame, frame_of
from kerfwright.formats.pdf.store import Shape, Store
from kerfwright.formats.pdf.values import entry, items_of
from kerfwright.formats.source import source_line
from kerfwright.geometry.paths import PathSet

_PLACES: Final = np.linspace(0.0, 1.0, 9)


@dataclass(frozen=True, slots=True, kw_only=True)
class PageLines:
    """The lines of a page before arcs are fitted.

    Parameters
    ----------
    outlines : Outlines
        Pieces with the control points of the file [mm].
    shapes : list of Shape
        Painted paths the outlines belong to.
    store : Store
        The clips.
    frame : PageFrame
        Boxes of the page.
    sha256 : str
        Hash of the file.
    """

    outlines: Outlines
    shapes: list[Shape]
    store: Store
    frame: PageFrame
    sha256: str


def read(request: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Read a page.

    Parameters
    ----------
    request : mapping
        ``path``, ``file`` (its name for messages), ``page``, ``scale``, ``tolerance_mm`` and
        ``limits``.
    """
    file, limits = str(request["file"]), ReadLimits(**request["limits"])
    notes = Notes()
    lines = read_lines(
        Path(request["path"]),
        file=file,
        page=request["page"],
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
    _note_hidden(lines, flat, notes)
    return _answer(lines, flat, notes, page=request["page"])


def read_pages(request: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Read several pages: ``pages`` instead of ``page``.

    The answer holds the header of each, and arrays named ``place/name``.
    """
    headers: list[dict[str, Any]] = []
    arrays: dict[str, Any] = {}
    for k, page in enumerate(request["pages"]):
        header, own = read({**request, "page": page})
        headers.append(header)
        arrays |= {f"{k}/{name}": array for name, array in own.items()}
    return {"pages": headers}, arrays


def read_lines(
    path: Path,
    *,
    file: str,
    page: int = 1,
    scale: float = 1.0,
    limits: ReadLimits,
    notes: Notes,
) -> PageLines:
    """Return the lines of a page with the control points of the file.

    Raises
    ------
    UnreadableError
        If the file or the page cannot be read.
    OutOfResourcesError
        If a limit was reached.
    """
    opened = open_page(path, file=file, page=page, limits=limits, notes=notes)
    frame = frame_of(opened.page, scale=scale, file=file, notes=notes)
    _refuse_size(frame, limits.coordinate_mm, file)
    store = Store(file, limits)
    run_content(opened, frame, store, file=file, limits=limits, notes=notes)
    outlines, dots = outlines_of(store, limit_mm=limits.coordinate_mm, file=file)
    if dots:
        notes.count("PDF-132", "points", dots)
    if annotations := items_of(entry(opened.page, "/Annots")):
        notes.count("PDF-113", "annotations", len(annotations))
    return PageLines(
        outlines=outlines, shapes=store.shapes, store=store, frame=frame, sha256=opened.sha256
    )


def run_content(
    opened: OpenPage,
    frame: PageFrame,
    store: Store,
    *,
    file: str,
    limits: ReadLimits,
    notes: Notes,
) -> None:
    """Run the content of a page into a store."""
    machine = Machine(
        store, Streams(file, limits), Layers(opened.pdf.Root, notes), notes, file, limits
    )
    machine.run_page(opened.page, frame)


def _refuse_size(frame: PageFrame, limit_mm: float, file: str) -> None:
    if not max(map(abs, frame.art_mm + frame.size_mm)) <= limit_mm:
        width, height = frame.size_mm
        msg = (
            f"{file}: the page is {width:.6g} x {height:.6g} mm, limit {limit_mm:g} mm; check "
            "the scale"
        )
        raise UnreadableError(msg)


def _note_hidden(lines: PageLines, flat: Flat, notes: Notes) -> None:
    """Say which lines lie on layers that are off, and which a clip hides in part."""
    shapes = [lines.shapes[k] for k in lines.outlines.shape[flat.path]]
    for shape in shapes:
        if shape.layer.is_off:
            notes.count("PDF-120", shape.layer.name)
    if not shapes:
        return
    checker = ClipChecker(lines.store)
    paths = PathSet(points=flat.points, bulges=flat.bulges, starts=flat.starts, closed=flat.closed)
    samples, starts = _samples(lines.outlines, flat)
    clip = np.array([s.clip for s in shapes], dtype=np.int64)
    hidden = np.flatnonzero(checker.hidden(clip, paths.bounds_mm(), samples, starts))
    named = [int(k) for k in hidden if shapes[k].name_of_step]
    if named:
        x, y = paths.points[paths.starts[named[0]]]
        names = listed(Counter(shapes[k].name_of_step for k in named))
        ids = ", ".join(f"c{k + 1}" for k in named[:8])
        more = f" and {len(named) - 8} more" if len(named) > 8 else ""
        params: dict[str, str | float | int] = {
            "count": len(named),
            "names": names,
            "contours": ids + more,
        }
        notes.add("PDF-141", xy_mm=(float(x), float(y)), params=params)
    if len(named) < len(hidden):
        notes.count("PDF-142", "lines", len(hidden) - len(named))
    if checker.unchecked:
        notes.count("PDF-143", "lines", checker.unchecked)


def _samples(o: Outlines, flat: Flat) -> tuple[np.ndarray, np.ndarray]:
    """Return points along the pieces of each path, and the first one of each path."""
    size = np.diff(o.starts)
    kept = np.zeros(len(size), np.bool_)
    kept[flat.path] = True
    p = o.control[np.repeat(kept, size)][:, :, None, :]
    t, u = _PLACES[:, None], 1.0 - _PLACES[:, None]
    is_curve = o.is_curve[np.repeat(kept, size)][:, None, None]
    curve = u**3 * p[:, 0] + 3 * u * u * t * p[:, 1] + 3 * u * t * t * p[:, 2] + t**3 * p[:, 3]
    points = np.where(is_curve, curve, u * p[:, 0] + t * p[:, 3])
    starts = np.concatenate(([0], np.cumsum(size[flat.path] * len(_PLACES))))
    return points.reshape(-1, 2), starts


def _answer(
    lines: PageLines, flat: Flat, notes: Notes, *, page: int
) -> tuple[dict[str, Any], dict[str, Any]]:
    shape = lines.outlines.shape[flat.path]
    shapes = [lines.shapes[k] for k in shape]
    matrices = np.array(list(lines.store.matrices), dtype=np.float64).reshape(-1, 6)
    m = matrices[[s.matrix for s in shapes]].reshape(-1, 6)
    grows = np.sqrt(np.abs(m[:, 0] * m[:, 3] - m[:, 1] * m[:, 2]))
    source = [source_line("PATH", str(k + 1), s.forms) for k, s in zip(shape, shapes, strict=True)]
    header = {
        "unit": "mm",
        "unit_is_certain": True,
        "unit_evidence": {},
        "unit_doubt": "",
        "unit_contradicted": "",
        "empty_code": "PDF-150",
        "page": page,
        "source": source,
        "layer": [s.layer.name for s in shapes],
        "separation": [s.ink.separation for s in shapes],
        "step": [s.layer.step for s in shapes],
        "colour": [s.ink.colour for s in shapes],
        "art": {"sha256": lines.sha256, "page": page, "box_mm": list(lines.frame.art_mm)},
        "notes": notes.finish(),
    }
    widths = np.array([s.width for s in shapes], dtype=np.float64)
    arrays = {
        "points": flat.points,
        "bulges": flat.bulges,
        "starts": flat.starts,
        "closed": flat.closed,
        "width_mm": np.nan_to_num(widths * grows, nan=0.0, posinf=0.0),
    }
    return header, arrays
