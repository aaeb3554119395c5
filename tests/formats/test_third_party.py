"""Drawings of others: every file is read or clearly refused, and lies where ezdxf puts it.

The 61 files are the public test files of an open DXF parser (MIT), not part of the repository.
"""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from formats.dxf_text import read_path
from formats.test_dxf_blocks import exploded, samples
from kerfwright import formats
from kerfwright.errors import Severity
from kerfwright.errors.messages import cure_of, sentence_of
from kerfwright.formats.drawing import drawing_of
from kerfwright.formats.dxf.entities import is_line, kind_of
from kerfwright.geometry.distance import nearest_on_paths

TOLERANCE_MM = 0.001
# Outcome: files with lines and a certain unit, with lines and a question, without any line.
WANTED = {"read": 25, "asks for the unit": 30, "no line": 6}
EXACT = {"LINE", "ARC", "CIRCLE", "LWPOLYLINE", "POLYLINE"}
NO_LINE = {
    "dimension-vertical.dxf",
    "empty.dxf",
    "polyfacemesh.dxf",
    "testHatch.dxf",
    "texts.dxf",
    "threeDFaces.dxf",
}

pytestmark = pytest.mark.extra_data


def read_all(folder, **options):
    files = sorted((folder / "dxf").glob("*.dxf"))
    assert len(files) == 61
    for path in files:
        header, arrays = read_path(path, **options)
        yield path, drawing_of(header, arrays, file=path.name, tolerance_mm=TOLERANCE_MM)


def outcome(drawing):
    codes = {f.code for f in drawing.findings}
    if "DXF-150" in codes:
        return "no line"
    return "asks for the unit" if "DXF-101" in codes else "read"


def test_every_file_is_read_or_says_why_not(extra_data):
    counts, without = Counter(), set()
    for path, drawing in read_all(extra_data, units=None):
        counts[outcome(drawing)] += 1
        for f in drawing.findings:
            assert path.name in sentence_of(f)
            assert cure_of(f)
        blocked = any(f.severity is Severity.BLOCKS for f in drawing.findings)
        assert blocked == (outcome(drawing) != "read"), path.name
        if outcome(drawing) == "no line":
            without.add(path.name)
            assert not len(drawing.paths)
        if outcome(drawing) == "asks for the unit":
            assert len(drawing.unit_candidates) >= 2
    print(dict(counts))
    assert without == NO_LINE
    assert dict(counts) == WANTED


def lines_of(document):
    """All lines that show, exploded by ezdxf: entity by entity, on layers that are on."""
    hidden = {
        layer.dxf.name.casefold()
        for layer in document.layers
        if layer.is_off() or layer.is_frozen()
    }
    for entity in document.modelspace():
        if entity.dxf.layer.casefold() in hidden | {"defpoints"}:
            continue
        for part in exploded(entity) if entity.dxftype() == "INSERT" else [entity]:
            inner = part.dxf.layer.casefold()
            if is_line(kind_of(part)) and inner not in hidden | {"defpoints"}:
                yield part


def test_every_line_lies_where_ezdxf_has_it(extra_data):
    """Each entity that ezdxf explodes has a path, and its points lie on the paths."""
    checked = Counter()
    for path, drawing in read_all(extra_data, units="mm"):
        wanted = list(lines_of(document_of(path)))
        assert len(drawing.paths) == len(wanted), path.name
        points = {True: [], False: []}
        for entity in wanted:
            if entity.dxftype() != "POINT":
                points[entity.dxftype() in EXACT] += [(p.x, p.y) for p in samples(entity, 9)]
                checked[entity.dxftype() in EXACT] += 1
        for is_exact, some in points.items():
            if some:
                away = nearest_on_paths(drawing.paths, np.array(some)).distance_mm.max()
                size = 1e-9 * (1.0 + np.abs(some).max())
                assert away <= (size if is_exact else TOLERANCE_MM * (1.0 + 1e-6)), path.name
    print(f"{checked[True]} lines, arcs and polylines, {checked[False]} curves checked")
    assert checked[True] > 1000
    assert checked[False] > 150


def document_of(path):
    import ezdxf

    return ezdxf.readfile(path)


@pytest.mark.parametrize("name", ["blocks2.dxf"])
def test_the_child_gives_the_same(extra_data, name):
    path = extra_data / "dxf" / name
    header, arrays = read_path(path)
    here = drawing_of(header, arrays, file=name, tolerance_mm=TOLERANCE_MM)
    assert formats.read_artwork(path, units="mm").digest == here.digest
