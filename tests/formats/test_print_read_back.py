"""What a print file holds, read back by the project's own reader: control points and geometry."""

from __future__ import annotations

import pytest

from formats.print_pages import LINES, layer_of, order_of, sheet_of
from kerfwright import formats
from kerfwright.formats.limits import ReadLimits
from kerfwright.formats.notes import Notes
from kerfwright.formats.pdf.reader import read_lines
from kerfwright.formats.print.lines import path_operators
from kerfwright.geometry.distance import hausdorff
from kerfwright.geometry.paths import make_path

READ_MM = 1e-4
LAYERS = [
    layer_of(LINES, name="Outlines", separation="Outline follows / print"),
    layer_of(
        make_path([(30, 250), (90, 270)], [0.2, 0.0], closed=False),
        name="Kiss",
        step="Structural/PartialCutting",
        separation="Kiss",
    ),
]
BIG = {"sheet": sheet_of(6000.0, 400.0)}


@pytest.fixture
def printed(tmp_path):
    """Print to a file."""

    def make(**changed):
        path = tmp_path / "print.pdf"
        path.write_bytes(formats.print_pdf(**order_of(cut_lines=LAYERS, **changed)))
        return path

    return make


@pytest.mark.parametrize("changed", [{}, {"bleed_mm": 5.0}, BIG], ids=["plain", "bleed", "unit"])
def test_control_points_come_back_at_6_decimals(printed, changed):
    lines = read_lines(printed(**changed), file="print.pdf", limits=ReadLimits(), notes=Notes())
    o = lines.outlines
    of_layer = [k for k, s in enumerate(o.shape) if lines.shapes[s].layer.name == "Outlines"]
    wanted = [row.split() for row in path_operators(LINES)]
    curves = [[float(v) for v in row[:-1]] for row in wanted if row[-1] == "c"]
    pieces = [i for k in of_layer for i in range(o.starts[k], o.starts[k + 1]) if o.is_curve[i]]
    assert len(pieces) == len(curves) > 20
    for i, curve in zip(pieces, curves, strict=True):
        assert o.control[i, 1:].ravel() == pytest.approx(curve, abs=5e-7)


def test_geometry_layers_inks_and_steps_come_back(printed):
    drawing = formats.read_artwork(printed(), tolerance_mm=READ_MM)
    for layer in LAYERS:
        rows = [k for k, name in enumerate(drawing.layer) if name == layer.name]
        assert len(rows) == len(layer.paths)
        assert {drawing.step[k] for k in rows} == {layer.step}
        assert {drawing.separation[k] for k in rows} == {layer.separation}
        found = drawing.paths.select(rows)
        assert found.closed.tolist() == layer.paths.closed.tolist()
        far = hausdorff(found, layer.paths, accuracy_mm=1e-5).high_mm
        assert far <= 5e-4 + READ_MM
    outside = [name for name in drawing.step if not name]
    assert len(outside) < len(drawing.step)


def test_the_file_without_cut_lines_has_none_for_the_reader(printed):
    drawing = formats.read_artwork(printed(with_cut_lines=False))
    assert set(drawing.step) == {""}
    assert set(drawing.separation) == {""}
