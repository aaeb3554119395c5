"""A sheet to print, customers' pages made on the spot, and a plain reader of page operators."""

from __future__ import annotations

import io
from contextlib import closing
from functools import lru_cache

import numpy as np
import pikepdf
import pypdfium2
from pikepdf import Array, Dictionary, Name

from kerfwright import formats
from kerfwright.geometry.paths import join_sets, make_circle, make_path
from kerfwright.model.marks import MarkLayout
from kerfwright.model.sheet import Sheet

MM_PER_POINT = 25.4 / 72.0
LABEL = formats.SheetLabel(job="order-7", sheet="s1", serial=12, side="front", marks="m1")
LABEL_BOX = (60.0, 20.0, 90.0, 50.0)
ARROW = (120.0, 5.0)
LINES = join_sets(
    [
        make_circle((200.0, 150.0), 40.0),
        make_path([(120, 80), (260, 90), (250, 220)], [0.0, 0.4, -0.7], closed=True),
        make_path([(30, 200), (90, 230)], [0.3, 0.0], closed=False),
    ]
)


def sheet_of(width_mm=400.0, height_mm=300.0, x_mm=0.0, y_mm=0.0):
    corners = np.array([(0, 0), (width_mm, 0), (width_mm, height_mm), (0, height_mm)])
    outline = make_path(corners + np.array((x_mm, y_mm)), closed=True)
    return Sheet(id="s1", outline=outline, thickness_mm=3.0, material_id="pvc-foam-3")


def marks_of(xy=((20.0, 20.0), (380.0, 30.0), (370.0, 280.0)), diameter_mm=6.0, quiet_mm=3.0):
    return MarkLayout(
        sheet="s1",
        xy=np.array(xy, dtype=float),
        diameter_mm=diameter_mm,
        quiet_mm=quiet_mm,
        id="m1",
        ambiguity=1,
        losses_tolerated=len(xy) - 2,
        worst_sd_mm=0.1,
    )


def order_of(**changed):
    """Arguments of a small print order."""
    return {
        "sheet": sheet_of(),
        "art": (),
        "marks": marks_of(),
        "cut_lines": (),
        "label": LABEL,
        "label_box_mm": LABEL_BOX,
        "arrow_xy_mm": ARROW,
        "title": "Boards",
        "with_cut_lines": True,
    } | changed


def layer_of(paths, name="Cut", step="Structural/Cutting", separation="Outline"):
    return formats.CutLayer(name=name, step=step, separation=separation, paths=paths)


def placed(file, **changed):
    """A page placed with the artwork's corner at 100, 100 of the sheet."""
    values = {
        "page": 1,
        "box_mm": (-10.0, -10.0, 200.0, 200.0),
        "sheet_from_artwork": [[1.0, 0.0, 100.0], [0.0, 1.0, 100.0]],
        "name": "art.pdf",
    }
    return formats.PlacedArt(file=file, **(values | changed))


class Customer:
    """A customer's file under construction: one page of 200 by 100 points by default."""

    def __init__(self, media=(0, 0, 200, 100), **page):
        self.pdf = pikepdf.new()
        self.groups = []
        self.off = []
        self.page = Dictionary(Type=Name.Page, MediaBox=Array([*media]), Resources=Dictionary())
        for key, value in page.items():
            self.page[f"/{key}"] = value

    def put(self, kind, **entries):
        """Put entries among the page's resources."""
        here = self.page.Resources.get(f"/{kind}", Dictionary())
        for key, value in entries.items():
            here[f"/{key}"] = value
        self.page.Resources[f"/{kind}"] = here
        return self

    def group(self, name, step="", *, off=False):
        """Return a new optional content group."""
        group = Dictionary(Type=Name.OCG, Name=pikepdf.String(name))
        if step:
            kind, _, which = step.partition("/")
            group.GTS_Metadata = Dictionary(GTS_ProcStepsGroup=Name(f"/{kind}"))
            if which:
                group.GTS_Metadata.GTS_ProcStepsType = Name(f"/{which}")
        group = self.pdf.make_indirect(group)
        self.groups.append(group)
        self.off += [group] if off else []
        return group

    def form(self, content, resources=None, box=(-1000, -1000, 1000, 1000), **entries):
        """Return a form."""
        form = self.pdf.make_stream(content)
        form.Type, form.Subtype, form.BBox = Name.XObject, Name.Form, Array([*box])
        if resources is not None:
            form.Resources = resources
        for key, value in entries.items():
            form[f"/{key}"] = value
        return form

    def ink(self, name):
        """Return a Separation space."""
        tint = Dictionary(FunctionType=2, Domain=[0, 1], C0=[0, 0, 0, 0], C1=[0, 1, 0, 0], N=1)
        return Array([Name.Separation, Name(f"/{name}"), Name.DeviceCMYK, tint])

    def bytes(self, content=b"", **save):
        """Finish the page and return the file."""
        self.page.Contents = self.pdf.make_stream(content)
        self.pdf.pages.append(pikepdf.Page(self.pdf.make_indirect(self.page)))
        if self.groups:
            default = Dictionary(OFF=Array([*self.off]), Order=Array([*self.groups]))
            self.pdf.Root.OCProperties = Dictionary(OCGs=Array([*self.groups]), D=default)
        out = io.BytesIO()
        self.pdf.save(out, **save)
        return out.getvalue()


@lru_cache(maxsize=2)
def raster(pdf, px_per_mm=4.0):
    """Return the page as (H, W, 3) integers by an independent renderer, honouring UserUnit."""
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        unit = float(opened.pages[0].obj.get("/UserUnit", 1))
    with closing(pypdfium2.PdfDocument(pdf)) as document:
        page = document[0]
        # the renderer rounds the size up and stretches the page to it: stay just below
        scale = px_per_mm * MM_PER_POINT * unit * (1.0 - 1e-6)
        picture = page.render(scale=scale).to_numpy()[:, :, :3].copy()
        page.close()
    return picture[:, :, ::-1].astype(int)


def pixel(picture, x_mm, y_mm, px_per_mm=4.0):
    """Return the colour at a point of the sheet frame."""
    row = int(picture.shape[0] - y_mm * px_per_mm)
    return tuple(picture[row, int(x_mm * px_per_mm)].tolist())


def layer_segments(pdf):
    """Return, layer by layer, the operators between its marks: (numbers, word) in mm."""
    layers = {}
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        page = opened.pages[0]
        now = None
        for operands, operator in pikepdf.parse_content_stream(page):
            word = str(operator)
            if word == "BDC":
                now = layers.setdefault(str(page.Resources.Properties[operands[1]].Name), [])
            elif word == "EMC":
                now = None
            elif now is not None and word in {"m", "l", "c", "h"}:
                now.append((tuple(float(v) for v in operands), word))
    return layers
