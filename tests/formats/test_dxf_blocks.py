"""Placed blocks: nested, mirrored, turned, stretched, in grids.

Second oracle: ezdxf (MIT) explodes the same inserts by transforming entities one by one; here
matrices are multiplied and shapes mapped. They share the file and nothing else.
"""

from __future__ import annotations

from math import cos, pi, sin

import ezdxf
import numpy as np
import pytest
from ezdxf import transform
from ezdxf.math import Vec3
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from kerfwright.formats.limits import ReadLimits
from kerfwright.geometry.distance import nearest_on_paths

FAR = ReadLimits(coordinate_mm=1e7)
NEW = settings(max_examples=12, phases=set(Phase) - {Phase.explain})
PLACE = st.floats(-500.0, 500.0)
SCALE = st.floats(0.2, 5.0)
SIGN = st.sampled_from([-1.0, 1.0])
EXTRUSION = st.sampled_from([(0, 0, 1), (0, 0, -1)])
PLACING = st.fixed_dictionaries(
    {
        "insert": st.tuples(PLACE, PLACE),
        "turn": st.one_of(st.floats(-360.0, 360.0), st.sampled_from([0.0, 90.0, 180.0, 270.0])),
        "scale": st.tuples(SCALE, SCALE, SCALE),
        "even": st.booleans(),
        "signs": st.tuples(SIGN, SIGN, SIGN),
        "extrusion": EXTRUSION,
        "grid": st.tuples(st.integers(1, 2), st.integers(1, 2)),
        "spacing": st.tuples(PLACE, PLACE),
    }
)


def place(layout, name, *, insert, turn, scale, even, signs, extrusion, grid, spacing):
    x, y, z = (s * k for s, k in zip((scale[0],) * 3 if even else scale, signs, strict=True))
    reference = layout.add_blockref(
        name,
        insert,
        dxfattribs={
            "rotation": turn, "xscale": x, "yscale": y, "zscale": z, "extrusion": extrusion,
        },
    )  # fmt: skip
    return reference.grid(grid, spacing)


def block_of_everything(document, name):
    """A block with one of each kind of line, off its own origin."""
    block = document.blocks.new(name, base_point=(3.0, -2.0))
    block.add_line((0, 0), (40, 10))
    block.add_arc((10, 5), 20, 30, 250)
    block.add_circle((-5, 3), 7, dxfattribs={"extrusion": (0, 0, -1)})
    block.add_ellipse((4, 4), (12, 5), 0.4, 0.3, 4.0)
    block.add_lwpolyline([(0, 0, 0.5), (20, 0, 0), (20, 15, -1.7), (0, 15, 0)], format="xyb")
    frame = [(0, 0), (10, 20), (30, -5), (40, 10), (50, 0)]
    block.add_rational_spline(frame, weights=[1, 2, 0.5, 1, 1], degree=3)
    return block


def exploded(insert):
    """All primitives of an insert, transformed by ezdxf, copies and nested inserts included.

    Inner blocks are exploded first, in their own block: ezdxf keeps the grid of an insert as it
    is when it transforms the insert.
    """
    found = []
    for copy in insert.multi_insert() if insert.mcount > 1 else [insert]:
        held = []
        for entity in copy.block():
            held += exploded(entity) if entity.dxftype() == "INSERT" else [entity]
        found += transform.copies(held, copy.matrix44())[1]
    return found


def samples(entity, count=25):
    """Points on an entity in world coordinates, by ezdxf's own parameters."""
    kind, t = entity.dxftype(), np.linspace(0.0, 1.0, count)
    if kind == "LINE":
        a, b = entity.dxf.start, entity.dxf.end
        return [a.lerp(b, f) for f in t]
    if kind == "ARC":
        sweep = (entity.dxf.end_angle - entity.dxf.start_angle) % 360.0
        return list(entity.vertices(entity.dxf.start_angle + sweep * t))
    if kind == "CIRCLE":
        return list(entity.vertices(360.0 * t))
    if kind == "ELLIPSE":
        sweep = (entity.dxf.end_param - entity.dxf.start_param) % (2.0 * pi) or 2.0 * pi
        return list(entity.vertices(entity.dxf.start_param + sweep * t))
    if kind == "SPLINE":
        curve = entity.construction_tool()
        # A curve runs where all its basis functions are there, not from the first knot on.
        low, high = (curve.knots()[k] for k in (curve.degree, curve.count))
        return list(curve.points(low + (high - low) * t))
    return [p for part in entity.virtual_entities() for p in samples(part, count)]


def distance_mm(paths, points):
    return nearest_on_paths(paths, np.array([(p.x, p.y) for p in points])).distance_mm.max()


@NEW
@given(PLACING, PLACING)
def test_nested_blocks_lie_where_ezdxf_explodes_them(read_here, outer, inner):
    document = ezdxf.new("R2010", units=4)
    block_of_everything(document, "HOLE")
    plate = document.blocks.new("PLATE", base_point=(-7.0, 5.0))
    plate.add_line((1, 1), (2, 5))
    place(plate, "HOLE", **inner)
    insert = place(document.modelspace(), "PLATE", **outer)
    drawing = read_here(document, limits=FAR, tolerance_mm=0.01)
    size = 1e-9 * np.abs(drawing.paths.points).max()
    for entity in exploded(insert):
        is_exact = entity.dxftype() in ("LINE", "ARC", "CIRCLE", "LWPOLYLINE")
        allowed = size if is_exact else 0.01
        assert distance_mm(drawing.paths, samples(entity)) <= allowed, entity.dxftype()
    copies = outer["grid"][0] * outer["grid"][1]
    inner_copies = inner["grid"][0] * inner["grid"][1]
    if all(outer["spacing"]) and all(inner["spacing"]):
        assert len(drawing.paths) == copies * (1 + 6 * inner_copies)


def rotation(angle, x=0.0, y=0.0):
    return np.array([(cos(angle), -sin(angle), x), (sin(angle), cos(angle), y)])


@NEW
@given(st.floats(-pi, pi), PLACE, PLACE, st.floats(0.1, 10.0), st.booleans())
def test_reading_commutes_with_placing_the_block(read_here, angle, x, y, scale, mirror):
    """A block placed by a similarity is the drawing of the block under that similarity."""
    alone, placed = ezdxf.new("R2010", units=4), ezdxf.new("R2010", units=4)
    for document in (alone, placed):
        block_of_everything(document, "HOLE")
    alone.modelspace().add_blockref("HOLE", (0, 0))
    placed.modelspace().add_blockref(
        "HOLE",
        (x, y),
        dxfattribs={
            "rotation": np.degrees(angle),
            "xscale": -scale if mirror else scale,
            "yscale": scale,
        },
    )
    similarity = rotation(angle, x, y) @ np.vstack(
        np.diag((-scale if mirror else scale, scale, 1.0))
    )
    # Curves are fitted to the tolerance on either side; compare what is exact to the last bit.
    native = [0, 1, 2, 4]
    one = read_here(alone, tolerance_mm=0.01).paths.select(native).transformed(similarity)
    two = read_here(placed, tolerance_mm=0.01).paths.select(native)
    np.testing.assert_allclose(two.points, one.points, atol=1e-9 * (1.0 + abs(x) + abs(y)))
    np.testing.assert_allclose(two.bulges, one.bulges, atol=1e-12)
    assert two.starts.tolist() == one.starts.tolist()


@NEW
@given(st.sampled_from(["mm", "cm", "m", "in", "ft", "um"]), st.floats(0.1, 10.0))
def test_units_and_scale_change_nothing_but_the_numbers(read_here, unit, scale):
    from kerfwright.units import DRAWING_UNITS_MM

    document = ezdxf.new("R2010", units=4)
    document.blocks.new("HOLE").add_arc((1, 2), 3, 10, 200)
    document.modelspace().add_blockref("HOLE", (5, 6), dxfattribs={"rotation": 30})
    document.modelspace().add_lwpolyline([(0, 0, 0.3), (4, 1, -2), (2, 2, 0)], format="xyb")
    plain = read_here(document)
    other = read_here(document, units=unit, scale=scale, limits=FAR)
    factor = DRAWING_UNITS_MM[unit] * scale
    np.testing.assert_allclose(other.paths.points, plain.paths.points * factor, rtol=1e-13)
    np.testing.assert_allclose(other.paths.bulges, plain.paths.bulges, rtol=1e-12)
    assert other.ids == plain.ids
    assert other.unit == unit


def test_a_grid_stands_in_the_turned_frame_and_is_not_scaled(read_here):
    document = ezdxf.new("R2010", units=4)
    document.blocks.new("DOT").add_point((0, 0))
    insert = document.modelspace().add_blockref(
        "DOT", (100, 0), dxfattribs={"rotation": 90, "xscale": 7, "yscale": 7}
    )
    insert.grid((2, 3), (10.0, 20.0))
    points = read_here(document).paths.points
    wanted = [(100 - 10 * row, 20 * column) for row in range(2) for column in range(3)]
    np.testing.assert_allclose(points, wanted, atol=1e-12)


def test_copies_on_one_spot_are_one_copy(read_here):
    document = ezdxf.new("R2010", units=4)
    document.blocks.new("DOT").add_point((0, 0))
    document.modelspace().add_blockref("DOT", (1, 2)).grid((5, 3), (0.0, 20.0))
    assert len(read_here(document).paths) == 3


def test_a_block_flattened_in_z_is_read(read_here):
    document = ezdxf.new("R2010", units=4)
    document.blocks.new("HOLE").add_circle((0, 0), 5)
    insert = document.modelspace().add_blockref("HOLE", (1, 2))
    insert.dxf.__dict__["zscale"] = 0.0  # as some files have it; ezdxf itself would not write it
    paths = read_here(document).paths
    assert paths.lengths_mm() == pytest.approx([10.0 * pi])


def test_order_ids_and_sources_follow_the_file(read_here):
    document = ezdxf.new("R2010", units=4)
    space = document.modelspace()
    hole = document.blocks.new("HOLE")
    hole.add_point((0, 0))
    plate = document.blocks.new("PLATE")
    plate.add_point((1, 0))
    plate.add_blockref("HOLE", (2, 0))
    plate.add_point((3, 0))
    space.add_point((0, 5))
    space.add_blockref("PLATE", (10, 0))
    space.add_point((4, 5))
    space.add_blockref("PLATE", (20, 0))
    drawing = read_here(document)
    assert drawing.paths.points[:, 0].tolist() == [0, 11, 12, 13, 4, 21, 22, 23]
    assert drawing.ids == tuple(f"c{k}" for k in range(1, 9))
    names = [s.partition(" in ")[2] for s in drawing.source]
    assert names == ["", "PLATE", "PLATE > HOLE", "PLATE"] * 2
    assert all(s.startswith("POINT ") for s in drawing.source)


@given(st.tuples(*[st.floats(-1.0, 1.0)] * 3).filter(lambda v: Vec3(v).magnitude > 1e-3))
def test_axes_of_an_extrusion_are_those_of_ezdxf(extrusion):
    from ezdxf.math import OCS

    from kerfwright.formats.dxf.ocs import axes_of

    ocs = OCS(extrusion)
    for mine, theirs in zip(axes_of(extrusion), (ocs.ux, ocs.uy, ocs.uz), strict=True):
        np.testing.assert_allclose(mine, theirs.xyz, atol=1e-9)
