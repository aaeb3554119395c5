"""Small PDF files made on the spot, and their reader called without its child process."""

from __future__ import annotations

import io
from dataclasses import asdict

import pikepdf
from pikepdf import Array, Dictionary, Name

from kerfwright.formats.drawing import drawing_of
from kerfwright.formats.limits import ReadLimits
from kerfwright.formats.notes import Notes
from kerfwright.formats.pdf import reader

UNIT_MM = 25.4 / 72.0  # one unit of user space, ISO 32000-1, 8.3.2.3: 1/72 inch


class Page:
    """One page under construction."""

    def __init__(self, content=b"", *, size=(200.0, 100.0), **boxes):
        self.pdf = pikepdf.new()
        self.page = self.pdf.add_blank_page(page_size=size).obj
        self.page.Resources = Dictionary(
            Properties=Dictionary(), ColorSpace=Dictionary(), XObject=Dictionary(),
            ExtGState=Dictionary(),
        )  # fmt: skip
        self.content = content
        for key, value in boxes.items():
            self.page["/" + key] = Array(value) if isinstance(value, (tuple, list)) else value

    @property
    def resources(self):
        return self.page.Resources

    def group(self, key, name="Layer", metadata=None, **entries):
        """Add an optional content group under a property name, and list it in the catalog."""
        extra = {} if metadata is None else {"GTS_Metadata": metadata}
        group = self.pdf.make_indirect(Dictionary(Type=Name.OCG, Name=name, **extra, **entries))
        self.resources.Properties["/" + key] = group
        if "/OCProperties" not in self.pdf.Root:
            self.pdf.Root.OCProperties = Dictionary(
                OCGs=Array(), D=Dictionary(ON=Array(), OFF=Array(), Order=Array())
            )
        self.pdf.Root.OCProperties.OCGs.append(group)
        return group

    def membership(self, key, groups, **entries):
        self.resources.Properties["/" + key] = self.pdf.make_indirect(
            Dictionary(Type=Name.OCMD, OCGs=groups, **entries)
        )

    def form(self, key, content, *, box=(-1e4, -1e4, 1e4, 1e4), resources=None, **entries):
        stream = self.pdf.make_stream(content)
        stream.Type, stream.Subtype, stream.BBox = Name.XObject, Name.Form, Array(box)
        if resources is not None:
            stream.Resources = resources
        for name, value in entries.items():
            stream["/" + name] = Array(value) if isinstance(value, tuple) else value
        self.resources.XObject["/" + key] = stream
        return stream

    def spot(self, key, name, kind=Name.DeviceCMYK, **function):
        entries = {"C0": [0, 0, 0, 0], "C1": [0, 1, 0, 0]} | function
        self.resources.ColorSpace["/" + key] = Array(
            [Name.Separation, Name("/" + name), kind, Dictionary(
                FunctionType=2, Domain=[0, 1], N=1, **entries)]
        )  # fmt: skip

    def bytes(self, **options):
        self.page.Contents = self.pdf.make_stream(self.content)
        out = io.BytesIO()
        self.pdf.save(out, static_id=True, **options)
        return out.getvalue()

    def plain_bytes(self):
        """Return the file with nothing packed, so that names can be changed in it."""
        plain = pikepdf.ObjectStreamMode.disable
        return self.bytes(compress_streams=False, object_stream_mode=plain)


def step(group, kind=None):
    """Return metadata of a processing step; values are names unless they are objects."""
    entries = {"GTS_ProcStepsGroup": _name(group)} if group is not None else {}
    if kind is not None:
        entries["GTS_ProcStepsType"] = _name(kind)
    return Dictionary(**entries)


def _name(value):
    return Name("/" + value) if isinstance(value, str) else value


def written(folder, page, name="page.pdf"):
    path = folder / name
    path.write_bytes(page if isinstance(page, bytes) else page.bytes())
    return path


def read_here(folder, page, *, number=1, scale=1.0, tolerance_mm=0.001, limits=None):
    """Read in this process: quick enough for many examples."""
    path = written(folder, page)
    request = {
        "path": str(path), "file": path.name, "page": number, "scale": scale,
        "tolerance_mm": tolerance_mm, "limits": asdict(limits or ReadLimits()),
    }  # fmt: skip
    header, arrays = reader.read(request)
    return drawing_of(header, arrays, file=path.name, tolerance_mm=tolerance_mm)


def lines_of(folder, page, **options):
    """Return pieces with the control points of the file."""
    path = written(folder, page)
    return reader.read_lines(
        path, file=path.name, limits=ReadLimits(), notes=Notes(), **options
    ).outlines


def codes(drawing):
    return [f.code for f in drawing.findings if f.code not in ("PDF-102", "PDF-105")]


def found(drawing, code):
    (finding,) = [f for f in drawing.findings if f.code == code]
    return finding
