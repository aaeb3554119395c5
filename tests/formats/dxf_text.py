"""DXF written by hand, tag by tag, for files that no library would write."""

from __future__ import annotations

from dataclasses import asdict

from kerfwright.formats.dxf import reader
from kerfwright.formats.limits import ReadLimits


def tags(*pairs):
    """Return group codes and values as text, one per line."""
    return "".join(
        f"{code}\n{value}\n" for code, value in zip(pairs[::2], pairs[1::2], strict=True)
    )


def section(name, *parts):
    return tags(0, "SECTION", 2, name) + "".join(parts) + tags(0, "ENDSEC")


def block(name, *parts):
    head = tags(0, "BLOCK", 8, "0", 2, name, 70, 0, 10, 0, 20, 0, 30, 0, 3, name)
    return head + "".join(parts) + tags(0, "ENDBLK", 8, "0")


def line(x0=0, y0=0, x1=10, y1=0, layer="CUT"):
    return tags(0, "LINE", 8, layer, 10, x0, 20, y0, 30, 0, 11, x1, 21, y1, 31, 0)


def circle(x=0, y=0, radius=5, layer="CUT"):
    return tags(0, "CIRCLE", 8, layer, 10, x, 20, y, 30, 0, 40, radius)


def insert(name, *more, x=0, y=0):
    return tags(0, "INSERT", 8, "0", 2, name, 10, x, 20, y, 30, 0, *more)


def drawing(*entities, blocks=(), header=(9, "$INSUNITS", 70, 4, 9, "$MEASUREMENT", 70, 1)):
    return (
        section("HEADER", tags(9, "$ACADVER", 1, "AC1009", *header))
        + section("TABLES")
        + section("BLOCKS", *blocks)
        + section("ENTITIES", *entities)
        + tags(0, "EOF")
    )


def read_path(path, *, units="mm", tolerance_mm=0.001, limits=None):
    """Read a file as the child does, in this process; return header and arrays."""
    request = {
        "path": str(path),
        "file": path.name,
        "units": units,
        "scale": 1.0,
        "tolerance_mm": tolerance_mm,
        "limits": asdict(limits or ReadLimits()),
    }
    return reader.read(request)
