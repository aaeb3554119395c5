"""Drawings as pictures: what the reader returned beside resvg's own view of the file.

Both pictures come from the same rasteriser, so they differ only where the geometry does. What the
reader returned is drawn from its vertices and bulges, each shape under its own matrix, so that
strokes are stretched as they are in the file. Where every paint is one clear colour, pictures are
compared by colour, which shows what lies under what; otherwise by where anything is painted.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from math import sqrt
from pathlib import Path

import numpy as np
import resvg_py
from PIL import Image

from kerfwright.formats.limits import ReadLimits
from kerfwright.formats.notes import Notes
from kerfwright.formats.pdf.store import CLOSE, CURVE, LINE, MOVE
from kerfwright.formats.svg.fitting import fit_outlines
from kerfwright.formats.svg.reader import lines_of, note_clipped
from kerfwright.formats.svg.tree import load, parse
from kerfwright.geometry.flatten import flatten
from kerfwright.geometry.paths import PathSet

CHORD_MM = 0.002
TOLERANCE_MM = 0.001
# Properties of strokes that a drawing for cutting does not keep; they are looked up in the file.
STROKE = ("stroke-linecap", "stroke-linejoin", "stroke-miterlimit", "stroke-dasharray")


@dataclass(frozen=True)
class Reading:
    """Lines of a file, the paths fitted to them, and the codes of what was found."""

    lines: object
    flat: object
    codes: tuple[str, ...]
    is_faint: bool


@dataclass(frozen=True)
class Comparison:
    """Shares of pixels that differ outside the edge band, and what the reader said."""

    shapes: float = 1.0
    colours: float = 1.0
    codes: tuple[str, ...] = field(default=())
    reason: str = ""


def read_lines(path: Path | None, text: str = "") -> Reading:
    """Read a file, or text without a file, in this process."""
    notes, limits = Notes(), ReadLimits()
    if path is None:
        path = Path("drawn.svg")
        tree = parse(text.encode(), file=path.name, limits=limits, notes=notes)
    else:
        tree = load(path, file=path.name, limits=limits, notes=notes)
    lines = lines_of(tree, file=path.name, limits=limits, notes=notes)
    flat = fit_outlines(
        lines.outlines, tolerance_mm=TOLERANCE_MM, most_points=limits.points, file=path.name,
        notes=notes,
    )  # fmt: skip
    note_clipped(lines, flat, notes)
    codes = ["SVG-101"] * bool(lines.page.doubt) + [str(n["code"]) for n in notes.finish()]
    codes += ["SVG-150"] * (not len(flat.path))
    is_faint = any("opacity" in str(dict(e.attrib)) for e in tree.root.iter())
    return Reading(lines, flat, tuple(codes), is_faint)


def redrawn(reading: Reading, *, plain: bool, clipped: bool = False) -> str:
    """Return SVG text of what was read; `plain`: in its colours, otherwise all black."""
    lines, flat = reading.lines, reading.flat
    paths = PathSet(points=flat.points, bulges=flat.bulges, starts=flat.starts, closed=flat.closed)
    chords = flatten(paths, tolerance_mm=CHORD_MM)
    of_shape = lines.outlines.shape[flat.path]
    width, height = lines.page.size_mm
    parts = []
    for k, shape in enumerate(lines.shapes):
        m = np.array(lines.matrices[shape.matrix])
        back = np.linalg.inv(m[:4].reshape(2, 2))
        data = []
        for p in np.flatnonzero(of_shape == k):
            xy = (chords.points[chords.starts[p] : chords.starts[p + 1]] - m[4:]) @ back
            data.append("M" + " L".join(f"{x:.9g} {y:.9g}" for x, y in xy))
            data.append("Z" if chords.closed[p] else "")
        part = element_of(shape, m, " ".join(data), plain=plain)
        parts.append(under_clips(part, shape.clip, lines.clips) if clipped else part)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
        f'width="{lines.page.px.width}" height="{lines.page.px.height}">'
        f'<g transform="matrix(1 0 0 -1 0 {height})">{"".join(parts)}</g></svg>'
    )


def element_of(shape, m, data, *, plain):
    def colour(coat):
        return "none" if not coat.is_seen else coat.colour if plain else "#000000"

    wide = shape.width / sqrt(abs(m[0] * m[3] - m[1] * m[2]))
    more = " ".join(f'{name}="{found}"' for name in STROKE if (found := looked_up(shape, name)))
    return (
        f'<path transform="matrix({" ".join(f"{v:.12g}" for v in m)})" d="{data}" '
        f'fill="{colour(shape.fill)}" fill-rule="{shape.fill_rule}" '
        f'stroke="{colour(shape.stroke)}" stroke-width="{wide:.9g}" {more}/>'
    )


def under_clips(part, clip, store):
    """Put an element under its clip and those around that."""
    matrices = list(store.matrices)
    while clip >= 0:
        found = store.clips[clip]
        numbers, words = list(found.xy), []
        for op in found.ops:
            count = {MOVE: 2, LINE: 2, CURVE: 6, CLOSE: 0}[op]
            taken, numbers = numbers[:count], numbers[count:]
            letter = {MOVE: "M", LINE: "L", CURVE: "C", CLOSE: "Z"}[op]
            words.append(letter + " ".join(f"{v:.9g}" for v in taken))
        m = " ".join(f"{v:.12g}" for v in matrices[found.matrix])
        rule = "evenodd" if found.even_odd else "nonzero"
        part = (
            f'<clipPath id="k{clip}"><path transform="matrix({m})" clip-rule="{rule}" '
            f'd="{" ".join(words)}"/></clipPath><g clip-path="url(#k{clip})">{part}</g>'
        )
        clip = found.parent
    return part


def looked_up(shape, name):
    for e in (shape.element, *shape.element.iterancestors()):
        if e.get(name):
            return e.get(name)
    return ""


def picture(*, width, text=None, path=None):
    """Return resvg's picture of a text or file, RGBA of `width` pixels across."""
    source = {"svg_string": text} if path is None else {"svg_path": str(path)}
    png = resvg_py.svg_to_bytes(
        **source, width=width, dpi=96.0, languages=["en"], skip_system_fonts=True
    )
    return np.asarray(Image.open(io.BytesIO(bytes(png))).convert("RGBA"))


def edges(values):
    """Return the pixels that are within one pixel of another value."""
    found = np.zeros(values.shape, bool)
    for axis in (0, 1):
        low, high = [slice(None)] * 2, [slice(None)] * 2
        low[axis], high[axis] = slice(None, -1), slice(1, None)
        steps = np.diff(values, axis=axis) != 0
        found[tuple(low)] |= steps
        found[tuple(high)] |= steps
    for axis in (0, 1):
        low, high = [slice(None)] * 2, [slice(None)] * 2
        low[axis], high[axis] = slice(None, -1), slice(1, None)
        wide = found.copy()
        wide[tuple(low)] |= found[tuple(high)]
        wide[tuple(high)] |= found[tuple(low)]
        found = wide
    return found


def share_of(a, b):
    """Return the share of pixels that differ away from edges of either picture."""
    return float(((a != b) & ~edges(a) & ~edges(b)).mean())


def is_plain(reading):
    coats = [c for s in reading.lines.shapes for c in (s.fill, s.stroke) if c.is_seen]
    clear = all(c.is_plain and c.alpha == 1.0 and c.colour for c in coats)
    return clear and not reading.is_faint


def compare(path: Path | None, *, width: int, clipped: bool = False, text: str = "") -> Comparison:
    """Compare what the reader returns of a file, or of text, with resvg's picture of it.

    Raises
    ------
    KerfwrightError
        If the reader refuses the file.
    """
    reading = read_lines(path, text)
    try:
        wanted = picture(width=width, path=path, text=text)
    except ValueError as error:
        return Comparison(codes=reading.codes, reason=f"resvg does not draw it: {error}")
    if "SVG-150" in reading.codes and min(reading.lines.page.size_mm) <= 0.0:
        return Comparison(codes=reading.codes, reason="the page has no area")
    plain = is_plain(reading)
    have = picture(width=width, text=redrawn(reading, plain=plain, clipped=clipped))
    if have.shape != wanted.shape:
        return Comparison(codes=reading.codes, reason="the pages differ in shape")
    shapes = share_of(*((p[:, :, 3] > 0).astype(np.int8) for p in (have, wanted)))
    colours = 0.0
    if plain:
        colours = share_of(*(p.copy().view(np.uint32)[:, :, 0] for p in (have, wanted)))
    return Comparison(shapes, colours, reading.codes)
