"""Layers, colours, widths, and what is left out and said."""

from __future__ import annotations

from collections.abc import Iterable

import ezdxf
import pytest

from formats.dxf_text import drawing as text_drawing
from formats.dxf_text import line, read_path, tags
from kerfwright.errors import UnreadableError
from kerfwright.errors.messages import cure_of, sentence_of
from kerfwright.formats import block_names


def codes(drawing) -> dict[str, dict]:
    found = {f.code: dict(f.params) for f in drawing.findings}
    assert len(found) == len(drawing.findings), "one finding for each theme"
    return found


def assert_printable(findings: Iterable):
    for f in findings:
        assert "{" not in sentence_of(f) + cure_of(f)


def test_layers_colours_and_widths_as_seen(read_here, document):
    """By layer, by block, own index, true colour; layer 0 in a block is the insert's layer."""
    document.layers.add("CUT", color=1, lineweight=50)
    document.layers.add("KISS", true_color=0x10A0FF)
    space = document.modelspace()
    block = document.blocks.new("TAG")
    block.add_point((0, 0), dxfattribs={"layer": "0", "color": 256, "lineweight": -1})
    block.add_point((0, 0), dxfattribs={"layer": "0", "color": 0, "lineweight": -2})
    block.add_point((0, 0), dxfattribs={"layer": "KISS", "color": 256})
    block.add_point((0, 0), dxfattribs={"layer": "KISS", "color": 3, "lineweight": 13})
    block.add_point((0, 0), dxfattribs={"layer": "kiss", "true_color": 0x336699})
    space.add_blockref("TAG", (0, 0), dxfattribs={"layer": "CUT", "color": 5, "lineweight": 100})
    space.add_point((0, 0), dxfattribs={"layer": "CUT"})
    space.add_point((0, 0), dxfattribs={"layer": "NOWHERE", "color": 7})
    drawing = read_here(document)
    assert drawing.layer == ("CUT", "CUT", "KISS", "KISS", "KISS", "CUT", "NOWHERE")
    assert [s.colour for s in drawing.stroke] == [
        "#ff0000", "#0000ff", "#10a0ff", "#00ff00", "#336699", "#ff0000", "#000000",
    ]  # fmt: skip
    assert [s.width_mm for s in drawing.stroke] == [0.5, 1.0, 0.0, 0.13, 0.0, 0.5, 0.0]


def test_by_block_goes_outwards_through_nested_blocks(read_here, document):
    inner, outer = document.blocks.new("INNER"), document.blocks.new("OUTER")
    inner.add_point((0, 0), dxfattribs={"color": 0})
    outer.add_blockref("INNER", (0, 0), dxfattribs={"color": 0})
    document.modelspace().add_blockref("OUTER", (0, 0), dxfattribs={"color": 1, "layer": "CUT"})
    document.modelspace().add_blockref("OUTER", (0, 0), dxfattribs={"color": 2, "layer": "KISS"})
    drawing = read_here(document)
    assert [s.colour for s in drawing.stroke] == ["#ff0000", "#ffff00"]
    assert drawing.layer == ("CUT", "KISS")
    assert [block_names(s) for s in drawing.source] == [("OUTER", "INNER")] * 2


def test_hidden_layers_are_left_out_and_counted(read_here, document):
    document.layers.add("OFF").off()
    document.layers.add("FROZEN").freeze()
    space = document.modelspace()
    for layer in ("OFF", "FROZEN", "FROZEN", "CUT"):
        space.add_line((0, 0), (1, 1), dxfattribs={"layer": layer})
    block = document.blocks.new("TAG")
    for layer in ("0", "CUT"):
        block.add_line((0, 0), (1, 1), dxfattribs={"layer": layer})
    # An insert on a frozen layer hides all of it; on a layer that is off, only its layer 0.
    space.add_blockref("TAG", (0, 0), dxfattribs={"layer": "FROZEN"})
    space.add_blockref("TAG", (0, 0), dxfattribs={"layer": "OFF"})
    drawing = read_here(document)
    assert drawing.layer == ("CUT", "CUT")
    found = codes(drawing)
    assert found == {"DXF-120": {"count": 6, "names": "FROZEN (4), OFF (2)"}}
    assert_printable(drawing.findings)


def test_numbers_on_hidden_layers_are_not_looked_at(read_here, document):
    document.layers.add("OFF").off()
    document.modelspace().add_line((0, 0), (1e300, 1), dxfattribs={"layer": "OFF"})
    document.modelspace().add_line((0, 0), (10, 1))
    assert len(read_here(document).paths) == 1


def test_what_is_no_line_is_counted_by_theme(read_here, document):
    space = document.modelspace()
    space.add_text("hello")
    space.add_text("hello")
    space.add_mtext("hello")
    space.add_linear_dim((0, 5), (0, 0), (10, 0)).render()
    space.add_hatch().paths.add_polyline_path([(0, 0), (1, 0), (1, 1)])
    space.add_solid([(0, 0), (1, 0), (1, 1)])
    space.add_3dface([(0, 0), (1, 0), (1, 1)])
    space.add_polyface()
    space.add_ray((0, 0), (1, 0))
    space.add_line((0, 0), (1, 1), dxfattribs={"invisible": 1})
    space.add_line((0, 0), (1, 1), dxfattribs={"layer": "Defpoints"})
    space.add_line((0, 0), (1, 1))
    document.layout("Layout1").add_line((0, 0), (1, 1))
    drawing = read_here(document)
    assert len(drawing.paths) == 1
    assert codes(drawing) == {
        "DXF-110": {"count": 3, "names": "TEXT (2), MTEXT (1)"},
        "DXF-111": {"count": 1, "names": "DIMENSION (1)"},
        "DXF-112": {"count": 2, "names": "HATCH (1), SOLID (1)"},
        "DXF-113": {"count": 2, "names": "3DFACE (1), POLYFACE (1)"},
        "DXF-114": {"count": 1, "names": "RAY (1)"},
        "DXF-121": {"count": 1},
        "DXF-122": {"count": 1},
        "DXF-123": {"count": 1},
    }
    assert_printable(drawing.findings)


def test_texts_in_blocks_count_once_per_copy(read_here, document):
    block = document.blocks.new("TAG")
    block.add_text("hello")
    block.add_point((0, 0))
    document.modelspace().add_blockref("TAG", (0, 0)).grid((2, 3), (5, 5))
    insert = document.modelspace().add_blockref("TAG", (0, 0))
    insert.add_attrib("NAME", "hello")
    assert codes(read_here(document))["DXF-110"] == {"count": 8, "names": "TEXT (7), ATTRIB (1)"}


def test_missing_blocks_and_outside_drawings(read_here, document):
    document.modelspace().add_blockref("NOTHING", (0, 0))
    document.add_xref_def("other.dxf", "OTHER")
    document.modelspace().add_blockref("OTHER", (0, 0))
    drawing = read_here(document)
    assert codes(drawing) == {
        "DXF-135": {"count": 1, "names": "NOTHING (1)"},
        "DXF-136": {"count": 1, "names": "OTHER (1)"},
        "DXF-150": {},
    }
    assert_printable(drawing.findings)


def test_tilted_figures_are_left_out_and_rising_lines_seen_from_above(read_here, document):
    space = document.modelspace()
    space.add_circle((0, 0), 5, dxfattribs={"extrusion": (1, 0, 1)})
    space.add_lwpolyline(
        [(0, 0, 1), (10, 0, 1)], format="xyb", close=True, dxfattribs={"extrusion": (0, 1, 1)}
    )
    space.add_ellipse((0, 0), (5, 0), 0.5, dxfattribs={"extrusion": (0, 1, 1)})
    space.add_line((0, 0, 0), (30, 40, 12.5))
    space.add_polyline3d([(0, 0, 0), (1, 0, 1), (2, 0, 0)])
    space.add_line((0, 0, 7), (3, 4, 7))
    drawing = read_here(document)
    found = codes(drawing)
    assert found["DXF-131"] == {"count": 3}
    assert found["DXF-132"] == {"count": 2}
    (rising,) = [f for f in drawing.findings if f.code == "DXF-132"]
    assert rising.measured == 12.5
    assert drawing.paths.lengths_mm() == pytest.approx([50.0, 2.0, 5.0])
    assert_printable(drawing.findings)


def test_a_whole_drawing_at_one_height_is_flat(read_here, document):
    document.modelspace().add_circle((0, 0, 38), 5)
    document.modelspace().add_lwpolyline(
        [(0, 0), (5, 0), (5, 5)], close=True, dxfattribs={"elevation": 38}
    )
    assert codes(read_here(document)) == {}


def test_values_that_make_no_shape(read_here, document):
    space = document.modelspace()
    for radius in (0.0, -3.0):
        space.add_circle((0, 0), radius)
    space.add_lwpolyline([(0, 0)])
    space.add_point((0, 0))
    document.blocks.new("TAG").add_point((0, 0))
    space.add_blockref("TAG", (0, 0)).dxf.__dict__["xscale"] = 0.0
    (found,) = codes(read_here(document)).items()
    assert found[0] == "DXF-130"
    assert found[1]["count"] == 4
    for words in ("radius 0", "radius -3", "a polyline of 1 points", "scale (0, 1)"):
        assert words in found[1]["names"]


def test_points_are_paths_of_one_vertex(read_here, document):
    document.modelspace().add_point((3, 4))
    paths = read_here(document).paths
    assert paths.points.tolist() == [[3.0, 4.0]]
    assert paths.closed.tolist() == [False]


def test_ends_are_never_joined_by_reading(read_here, document):
    for a, b in [((0, 0), (10, 0)), ((10, 0), (10, 10)), ((10, 10), (0, 0))]:
        document.modelspace().add_line(a, b)
    document.modelspace().add_lwpolyline([(0, 0), (5, 0), (5, 5), (0, 0)])
    paths = read_here(document).paths
    assert paths.closed.tolist() == [False] * 4
    assert len(paths.points) == 10


def test_the_frame_of_a_fitted_polyline_is_no_line(tmp_path):
    """Vertices flagged 16 hold the frame of a spline-fit polyline (DXF reference, VERTEX)."""
    vertices = [(16, 0, 0), (8, 0, 0), (8, 5, 5), (16, 5, 10), (8, 10, 0), (16, 10, 0)]
    path = tmp_path / "drawing.dxf"
    path.write_text(
        text_drawing(
            tags(0, "POLYLINE", 8, "CUT", 66, 1, 10, 0, 20, 0, 30, 0, 70, 4),
            *[tags(0, "VERTEX", 8, "CUT", 10, x, 20, y, 70, flag) for flag, x, y in vertices],
            tags(0, "SEQEND", 8, "CUT"),
        )
    )
    _, arrays = read_path(path)
    assert arrays["points"].tolist() == [[0.0, 0.0], [5.0, 5.0], [10.0, 0.0]]


def test_parents_are_the_contours_around(read_here, document):
    space = document.modelspace()
    space.add_circle((0, 0), 2)
    space.add_lwpolyline([(-10, -10), (10, -10), (10, 10), (-10, 10)], close=True)
    space.add_circle((0, 0), 5)
    space.add_line((0, 0), (1, 0))
    assert read_here(document).parent.tolist() == [2, -1, 1, 0]


def test_through_the_child_as_in_this_process(read_here, read_file, document):
    space = document.modelspace()
    document.layers.add("CUT", color=1)
    space.add_lwpolyline([(0, 0, 0.3), (40, 10, -2), (20, 20, 0)], format="xyb", close=True)
    space.add_circle((5, 6), 7, dxfattribs={"layer": "CUT"})
    space.add_text("hello")
    here, there = read_here(document), read_file(document, units="mm")
    assert here.digest == there.digest


def test_old_text_with_byte_order_mark_and_comments(read_file):
    text = "\ufeff" + tags(999, "made by hand") + text_drawing(line())
    assert len(read_file(text).paths) == 1


def test_names_in_other_scripts_survive(read_file, document):
    document.layers.add("SCHNITT-Ö-切")
    document.modelspace().add_line((0, 0), (10, 0), dxfattribs={"layer": "SCHNITT-Ö-切"})
    assert read_file(document).layer == ("SCHNITT-Ö-切",)


def test_the_binary_form(read_file, tmp_path, document):
    document.modelspace().add_circle((5, 6), 7)
    path = tmp_path / "binary.dxf"
    document.saveas(path, fmt="bin")
    box = read_file(path.read_bytes()).paths.box_mm()
    assert box == pytest.approx((-2.0, -1.0, 12.0, 13.0), abs=1e-12)
    with pytest.raises(UnreadableError, match="without its end mark"):
        read_file(path.read_bytes()[:-30])


def test_reading_twice_gives_the_same_drawing(read_here, document):
    document.blocks.new("HOLE").add_arc((1, 2), 3, 10, 200)
    document.modelspace().add_blockref("HOLE", (5, 6), dxfattribs={"rotation": 30})
    assert read_here(document).digest == read_here(document).digest


@pytest.mark.parametrize("version", ["R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018"])
def test_versions(read_file, tmp_path, version):
    document = ezdxf.new(version)
    document.modelspace().add_line((0, 0), (30, 40))
    path = tmp_path / "old.dxf"
    document.saveas(path)
    header, arrays = read_path(path)
    assert header["source"]
    assert arrays["points"].tolist() == [[0.0, 0.0], [30.0, 40.0]]
