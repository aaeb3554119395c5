"""SVG drawings made on the spot, and the reader called without its child process."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from unittest import mock

from kerfwright.formats.drawing import drawing_of
from kerfwright.formats.limits import ReadLimits
from kerfwright.formats.svg import reader, tree
from kerfwright.model.drawing import Drawing

NAMESPACES = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
TOLERANCE_MM = 0.001


def svg(content: str, attributes: str = 'width="100mm" height="80mm" viewBox="0 0 100 80"') -> str:
    """Return a drawing; without attributes one user unit is one millimetre."""
    return f"<svg {NAMESPACES} {attributes}>{content}</svg>"


def stroked(content: str) -> str:
    """Return content under a group that strokes it."""
    return f'<g fill="none" stroke="black">{content}</g>'


def path(data: str, more: str = "") -> str:
    """Return a stroked path."""
    return f'<path fill="none" stroke="black" d="{data}" {more}/>'


def read_svg(
    text: str | bytes,
    *,
    units=None,
    scale=1.0,
    tolerance_mm=TOLERANCE_MM,
    limits=None,
    file="drawing.svg",
) -> Drawing:
    """Read text in this process, without a file: quick enough for many examples."""
    request = {
        "path": file,
        "file": file,
        "units": units,
        "scale": scale,
        "tolerance_mm": tolerance_mm,
        "limits": asdict(limits or ReadLimits()),
    }
    data = text.encode() if isinstance(text, str) else text

    def load(_: Path, **options):
        return tree.parse(data, **options)

    with mock.patch.object(reader, "load", load):
        header, arrays = reader.read(request)
    return drawing_of(header, arrays, file=file, tolerance_mm=tolerance_mm)


def codes(drawing: Drawing) -> set[str]:
    """Return the codes of what reading found."""
    return {f.code for f in drawing.findings}


def finding(drawing: Drawing, code: str):
    """Return the one finding of a code."""
    (found,) = [f for f in drawing.findings if f.code == code]
    return found
