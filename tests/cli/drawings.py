"""Drawings that are wrong in one way each, by name; bytes of a file."""

from __future__ import annotations

import io
import struct
import zipfile
from collections.abc import Callable

import ezdxf


def plate(*, size=80.0, hole=8.0, units=4, layer="outline") -> bytes:
    """A square with a hole; R2010 with its unit in the header unless told otherwise."""
    doc = ezdxf.new("R2010", units=units)
    doc.header["$MEASUREMENT"] = 1
    space = doc.modelspace()
    corners = [(0, 0), (size, 0), (size, size), (0, size)]
    space.add_lwpolyline(corners, close=True, dxfattribs={"layer": layer})
    if hole:
        space.add_circle((size / 2, size / 2), hole, dxfattribs={"layer": "holes"})
    stream = io.StringIO()
    doc.write(stream)
    return stream.getvalue().encode()


def bare(*entities: tuple[object, ...], unit: int = 4) -> bytes:
    """The smallest text that is a drawing: a unit and entities, each a list of codes and values."""
    pairs = [(0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, "AC1024")]
    pairs += [(9, "$INSUNITS"), (70, unit), (9, "$MEASUREMENT"), (70, 1), (0, "ENDSEC")]
    pairs += [(0, "SECTION"), (2, "ENTITIES")]
    for entity in entities:
        pairs += list(zip(entity[::2], entity[1::2], strict=True))
    pairs += [(0, "ENDSEC"), (0, "EOF")]
    return "".join(f"{code}\n{value}\n" for code, value in pairs).encode()


def line(x0, y0, x1, y1, layer="outline") -> tuple[object, ...]:
    common = (0, "LINE", 100, "AcDbEntity", 8, layer, 100, "AcDbLine")
    return (*common, 10, x0, 20, y0, 30, 0, 11, x1, 21, y1, 31, 0)


def triangle(x="0.0", y="0.0", *, layer="outline", size=60.0) -> bytes:
    """Three lines, one corner at a place given as the text of the file."""
    corners = [(x, y), (size, 0.0), (size, size)]
    ends = zip(corners, [*corners[1:], corners[0]], strict=True)
    return bare(*(line(*a, *b, layer) for a, b in ends))


def cut_to(share: float) -> Callable[[], bytes]:
    def made() -> bytes:
        whole = plate()
        return whole[: int(len(whole) * share)]

    return made


def inside_entities() -> bytes:
    """A drawing that ends in the middle of its entities."""
    whole = plate()
    return whole[: whole.index(b"CIRCLE") + 40]


def packed() -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("plate.dxf", plate())
    return stream.getvalue()


def binary_of_nothing() -> bytes:
    """The sentinel of a binary drawing and then junk."""
    return b"AutoCAD Binary DXF\r\n\x1a\x00" + struct.pack("<H", 0) + b"SECTION\0" + bytes(200)


def folded_thousandfold() -> bytes:
    """Blocks that hold each other twice, thirty deep: a billion lines from a page of text."""
    doc = ezdxf.new("R2010", units=4)
    names = [f"B{i}" for i in range(31)]
    blocks = [doc.blocks.new(name) for name in names]
    for block, inner in zip(blocks, names[1:], strict=False):
        block.add_blockref(inner, (0, 0))
        block.add_blockref(inner, (1, 0))
    blocks[-1].add_line((0, 0), (1, 1), dxfattribs={"layer": "outline"})
    doc.modelspace().add_blockref(names[0], (0, 0))
    stream = io.StringIO()
    doc.write(stream)
    return stream.getvalue().encode()


MAKERS: dict[str, Callable[[], bytes]] = {
    "good": plate,
    "triangle": triangle,
    "empty": lambda: b"",
    "blank": lambda: b"\n" * 500,
    "one byte": lambda: b"0",
    "junk": lambda: bytes(range(256)) * 40,
    "nulls": lambda: bytes(10_000),
    "text": lambda: b"hello\n" * 50,
    "page": lambda: b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n" + bytes(500),
    "picture": lambda: b"\x89PNG\r\n\x1a\n" + bytes(500),
    "zip": packed,
    "json": lambda: b'{"lines": []}',
    "binary of nothing": binary_of_nothing,
    "cut at a tenth": cut_to(0.1),
    "cut at a half": cut_to(0.5),
    "cut at nine tenths": cut_to(0.9),
    "cut inside its entities": inside_entities,
    "without its end": lambda: triangle().removesuffix(b"0\nEOF\n"),
    "without entities": bare,
    "only a text": lambda: bare((0, "TEXT", 8, "notes", 10, 0, 20, 0, 40, 5, 1, "hello")),
    "nan": lambda: triangle("nan"),
    "inf": lambda: triangle("inf"),
    "minus inf": lambda: triangle("0.0", "-inf"),
    "1e999": lambda: triangle("1e999"),
    "1e300": lambda: triangle("1e300"),
    "1e13": lambda: triangle("1e13"),
    "comma": lambda: triangle("3,5"),
    "word": lambda: triangle("wide"),
    "unitless": lambda: plate(units=0),
    "in inches": lambda: plate(units=1),
    "in light years": lambda: bare(line(0, 0, 5, 5), unit=19),
    "unit 99": lambda: bare(line(0, 0, 5, 5), unit=99),
    "larger than the sheet": lambda: plate(size=3000.0),
    "unknown layer": lambda: plate(layer="mystery"),
    "markup layer": lambda: triangle(layer="[/bold]"),
    "layer in an old encoding": lambda: triangle(layer="LAYER").replace(b"LAYER", b"gr\xfc\xdfe"),
    "layer of half a pair": lambda: triangle(layer="\\U+D800"),
    "hole smaller than the blade": lambda: plate(hole=0.2),
    "open": lambda: bare(line(0, 0, 60, 0), line(60, 0, 60, 60)),
    "points in one place": lambda: bare(line(5, 5, 5, 5)),
    "deep blocks": folded_thousandfold,
}
