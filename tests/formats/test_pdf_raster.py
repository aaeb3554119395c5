"""A page as a picture lies where its lines are read: filled shapes are found where they must be."""

from __future__ import annotations

import numpy as np
import pytest
from pikepdf import Array, Dictionary, Name

from formats.pdf_pages import UNIT_MM, Page, lines_of, step, written
from kerfwright import formats
from kerfwright.errors import OutOfResourcesError, UnreadableError, UsageError
from kerfwright.formats.limits import ReadLimits

MEDIA, TRIM = (10.3, 20.6, 210.7, 120.1), (20, 30, 200, 110)


def dark_mm(picture, px_per_mm, lower_left_mm):
    """Area and centre of what is dark, every pixel by how dark it is."""
    dark = 1.0 - picture[:, :, 1] / 255.0
    area = dark.sum()
    x = (dark.sum(axis=0) * (np.arange(dark.shape[1]) + 0.5)).sum() / area
    y = (dark.sum(axis=1) * (np.arange(dark.shape[0]) + 0.5)).sum() / area
    left, low = lower_left_mm
    return area / px_per_mm**2, left + x / px_per_mm, low + (len(dark) - y) / px_per_mm


@pytest.mark.parametrize("rotate", [0, 90, 180, 270])
@pytest.mark.parametrize("unit", [1, 3.5])
def test_filled_shapes_land_where_the_reader_says(tmp_path, rotate, unit):
    """Centre and area of a triangle; upright edges are no test, pdfium rounds them to pixels."""
    content = b"30 40 m 95 52 l 41 97 l f"
    page = Page(content, MediaBox=MEDIA, TrimBox=TRIM, Rotate=rotate, UserUnit=unit)
    corners = lines_of(tmp_path, page).control[:, 0]
    box = (-1.37, -2.11, 70.0 * unit, 72.0 * unit)
    px_per_mm = 7.3 / unit
    picture = formats.render_page(written(tmp_path, page), px_per_mm=px_per_mm, box_mm=box)
    size = np.ceil((np.array(box[2:]) - box[:2]) * px_per_mm)
    assert picture.shape == (size[1], size[0], 3)
    assert picture.dtype == np.uint8
    area, *centre = dark_mm(picture, px_per_mm, box[:2])
    assert centre == pytest.approx(corners.mean(axis=0), abs=0.03 / px_per_mm)
    (ax, ay), (bx, by), (cx, cy) = corners
    wanted = abs((bx - ax) * (cy - ay) - (cx - ax) * (by - ay)) / 2
    assert area == pytest.approx(wanted, rel=0.005)


def test_a_filled_rectangle_covers_the_pixels_of_its_line(tmp_path):
    page = Page(b"30 40 60 20 re f", TrimBox=(20, 30, 180, 90))
    path = written(tmp_path, page)
    x0, y0, x1, y1 = formats.read_artwork(path).paths.box_mm()
    picture = formats.render_page(path, px_per_mm=10.0)
    rows, columns = np.nonzero(picture[:, :, 0] < 128)
    height = picture.shape[0]
    assert height == np.ceil(60 * UNIT_MM * 10.0)
    seen = (columns.min(), columns.max() + 1, height - rows.max() - 1, height - rows.min())
    wanted = np.array((x0, x1, y0, y1)) * 10.0
    assert np.abs(np.array(seen) - wanted).max() <= 1.0


def test_the_whole_chosen_box_of_bytes_in_colour(tmp_path):
    page = Page(b"1 0 0 rg 0 0 36 36 re f 0 0 1 rg 36 36 36 36 re f", size=(72, 72))
    page.page.TrimBox = [0, 0, 72, 72]
    picture = formats.render_page(page.bytes(), px_per_mm=2.0, scale=10.0)
    assert picture.shape == (508, 508, 3)
    assert picture[500, 10].tolist() == [255, 0, 0]  # lower left
    assert picture[10, 500].tolist() == [0, 0, 255]
    assert picture[10, 10].tolist() == [255, 255, 255]


def test_lines_that_are_read_are_seen(tmp_path):
    """Every point of a read outline is dark in the picture: curves, forms and layers too."""
    page = Page(b"1 w /F Do q 1 0 0 1 90 0 cm .9 .3 -.3 .9 0 0 cm /F Do Q")
    page.form("F", b"10 10 m 40 0 60 30 70 60 c 30 60 l s", Matrix=(1, 0, 0, 1, 5, 5))
    picture = formats.render_page(written(tmp_path, page), px_per_mm=20.0)
    drawing = formats.read_artwork(written(tmp_path, page), tolerance_mm=0.01)
    assert len(drawing.paths) == 2
    x, y = drawing.paths.points.T * 20.0
    assert (picture[(picture.shape[0] - y).astype(int), x.astype(int)] < 100).all()


def test_layers_can_be_hidden(tmp_path):
    page = Page(
        b"/OC /A BDC 0 0 36 36 re f EMC /OC /B BDC 72 0 36 36 re f EMC /F Do 144 0 36 36 re f"
    )
    page.group("A", "Cut", step("Structural", "Cutting"))
    page.group("B", "Art")
    page.form("F", b"108 0 36 36 re f", OC=page.group("C", "Creases"))
    usage = Dictionary(View=Dictionary(ViewState=Name.ON))
    page.resources.Properties["/A"].Usage = usage
    groups = Array([page.resources.Properties["/A"]])
    page.pdf.Root.OCProperties.D.AS = Array(
        [Dictionary(Event=Name.View, Category=Array([Name.View]), OCGs=groups)]
    )
    path = written(tmp_path, page)

    def dark(**options):
        row = formats.render_page(path, px_per_mm=1.0, **options)[-6]
        return [bool(row[round(u * UNIT_MM), 0] < 128) for u in (18, 90, 126, 162)]

    assert dark() == [True, True, True, True]
    assert dark(hidden_layers=["Cut"]) == [False, True, True, True]
    assert dark(hidden_layers={"Cut", "Creases"}) == [False, True, False, True]
    with pytest.raises(UsageError, match="no layer is called Foil"):
        formats.render_page(path, px_per_mm=1.0, hidden_layers=["Foil", "Cut"])


@pytest.mark.parametrize(
    ("options", "kind", "words"),
    [
        ({"px_per_mm": 0.0}, UsageError, "px_per_mm is 0.0"),
        ({"px_per_mm": float("inf")}, UsageError, "px_per_mm is inf"),
        ({"scale": 0.0}, UsageError, "scale is 0.0"),
        ({"box_mm": (0, 0, 0, 5)}, UsageError, "with an area"),
        ({"box_mm": (0, 0, 5)}, UsageError, "with an area"),
        ({"page": 0}, UsageError, "counted from 1"),
        ({"page": 2}, UnreadableError, "the file has one page"),
        ({"px_per_mm": 1e6}, OutOfResourcesError, "pixels was asked for, limit"),
    ],
)
def test_wrong_use(tmp_path, options, kind, words):
    with pytest.raises(kind, match=words):
        formats.render_page(written(tmp_path, Page(b"")), **({"px_per_mm": 1.0} | options))


def test_what_is_no_page(tmp_path):
    with pytest.raises(UnreadableError, match="no PDF file"):
        formats.render_page(b"GIF89a", px_per_mm=1.0)
    with pytest.raises(UnreadableError, match="no such file"):
        formats.render_page(tmp_path / "none.pdf", px_per_mm=1.0)
    with pytest.raises(UnreadableError, match=r"page\.pdf: the PDF file"):
        formats.render_page(b"%PDF-1.7\nnothing\n%%EOF\n", px_per_mm=1.0)


def test_forms_without_end_are_refused_before_they_are_painted(tmp_path):
    page = Page(b"/A Do")
    a = page.form("A", b"/B Do /B Do")
    b = page.form("B", b"/A Do")
    a.Resources = Dictionary(XObject=Dictionary(B=b))
    b.Resources = Dictionary(XObject=Dictionary(A=a))
    with pytest.raises(UnreadableError, match=r"form A holds itself \(A > B > A\)"):
        formats.render_page(page.bytes(), px_per_mm=1.0, limits=ReadLimits(seconds=30.0))
