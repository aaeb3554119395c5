"""The print file: boxes, marks and label measured on a raster, layers read back, equal bytes."""

from __future__ import annotations

import io

import numpy as np
import pikepdf
import pytest
import zxingcpp

from formats.print_pages import (
    ARROW,
    LABEL,
    LABEL_BOX,
    LINES,
    Customer,
    layer_of,
    layer_segments,
    marks_of,
    order_of,
    pixel,
    placed,
    raster,
    sheet_of,
)
from kerfwright import formats
from kerfwright.errors import ModelError, UsageError
from kerfwright.errors.messages import cure_of, sentence_of
from kerfwright.formats import print_file
from kerfwright.formats.print import assemble
from kerfwright.formats.print.lines import path_operators
from kerfwright.geometry.paths import make_path


@pytest.fixture
def here(monkeypatch):
    """Put pages together in this process: quick enough for many examples."""

    def run(_, request, **__):
        return assemble.assemble(request)

    monkeypatch.setattr(print_file, "run_reader", run)
    monkeypatch.setattr(pikepdf.settings, "set_qpdf_limits", lambda **_: {})
    return formats.compose_print


def codes(made):
    return [f.code for f in made.findings]


def test_page_boxes_are_the_sheet(here):
    made = here(**order_of(sheet=sheet_of(400, 300), bleed_mm=5.0))
    with pikepdf.open(io.BytesIO(made.pdf)) as pdf:
        (page,) = pdf.pages
        per_mm = 72 / 25.4
        wide = [0, 0, 410 * per_mm, 310 * per_mm]
        inner = [5 * per_mm, 5 * per_mm, 405 * per_mm, 305 * per_mm]
        for name, wanted in (("Media", wide), ("Bleed", wide), ("Trim", inner)):
            box = [float(v) for v in page.obj[f"/{name}Box"]]
            assert box == pytest.approx(wanted, abs=1e-6)
        assert "/UserUnit" not in page.obj
        assert not pdf.check_pdf_syntax()


def test_a_page_over_14400_points_gets_a_user_unit_and_a_warning(here):
    big = sheet_of(6000.0, 1000.0)
    made = here(**order_of(sheet=big, marks=marks_of([(50.0, 50.0), (5950.0, 900.0)])))
    assert codes(made) == ["PRT-140"]
    with pikepdf.open(io.BytesIO(made.pdf)) as pdf:
        page = pdf.pages[0].obj
        assert page.UserUnit == 2
        assert float(page.MediaBox[2]) * 2 == pytest.approx(6000 * 72 / 25.4, abs=1e-5)
    picture = raster(made.pdf, px_per_mm=0.5)
    assert picture.shape[:2] == (500, 3000)
    assert pixel(picture, 5950.0, 900.0, 0.5) == (0, 0, 0)


def test_marks_lie_where_they_shall_and_are_as_large(here):
    marks = marks_of([(20.0, 20.0), (379.31, 31.07), (370.003, 279.99)], diameter_mm=6.0)
    px = 10.0
    picture = raster(here(**order_of(marks=marks)).pdf, px_per_mm=px)
    height = picture.shape[0]
    for x, y in marks.xy:
        rows = slice(int(height - (y + 5) * px), int(height - (y - 5) * px))
        columns = slice(int((x - 5) * px), int((x + 5) * px))
        ink = 1.0 - picture[rows, columns].mean(axis=2) / 255.0
        i, j = np.mgrid[rows, columns]
        centre = np.array([(ink * (j + 0.5)).sum(), (ink * (i + 0.5)).sum()]) / ink.sum() / px
        assert (centre[0], height / px - centre[1]) == pytest.approx((x, y), abs=0.02)
        assert 2.0 * np.sqrt(ink.sum() / np.pi) / px == pytest.approx(6.0, abs=0.02)


def test_marks_have_one_ink_and_a_white_quiet_zone_over_the_art(here):
    black = Customer(media=(0, 0, 2000, 2000)).bytes(b"0 0 0 1 k 0 0 2000 2000 re f")
    art = [placed(black, box_mm=(0, 0, 400, 300), sheet_from_artwork=[[1, 0, 0], [0, 1, 0]])]
    picture = raster(here(**order_of(art=art)).pdf)
    dark = pixel(picture, 200, 250)
    assert max(dark) < 100
    for radius, wanted in (
        (0.0, (0, 0, 0)),
        (2.6, (0, 0, 0)),
        (3.3, (255,) * 3),
        (5.7, (255,) * 3),
    ):
        assert pixel(picture, 20.0 + radius, 20.0) == wanted
    assert pixel(picture, 20.0 + 6.3, 20.0) == dark
    content = contents_of(here(**order_of()).pdf)
    colours = {w for w in content.split() if w in {b"k", b"K", b"rg", b"RG", b"scn", b"sc"}}
    assert colours == set()  # marks, label and arrow are grey of one ink


def contents_of(pdf):
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        return opened.pages[0].Contents.read_bytes()


def test_an_independent_decoder_reads_the_label_from_the_raster(here):
    picture = raster(here(**order_of()).pdf, px_per_mm=8.0).astype(np.uint8)
    (found,) = zxingcpp.read_barcodes(picture)
    label = formats.read_label(found.text)
    assert (label.job, label.sheet, label.serial) == (LABEL.job, LABEL.sheet, LABEL.serial)
    x0, y0, x1, y1 = LABEL_BOX
    corners = (found.position.top_left, found.position.bottom_right)
    for corner in corners:
        assert x0 < corner.x / 8.0 < x1
        assert y0 < (picture.shape[0] - corner.y) / 8.0 < y1
    assert found.position.top_left.y < found.position.bottom_left.y  # not mirrored
    assert found.position.top_left.x < found.position.top_right.x


def test_the_quiet_zone_of_the_label_is_four_modules_and_white(here):
    module = 30.0 / (len(formats.label_modules(formats.label_text(LABEL))) + 8)
    picture = raster(here(**order_of()).pdf, px_per_mm=10.0)
    height, edge = picture.shape[0], 4.0 * module
    x0, y0, x1, y1 = (int(v * 10) for v in LABEL_BOX)
    box = picture[height - y1 : height - y0, x0:x1]
    zone = int(edge * 10) - 1
    for strip in (box[:zone], box[-zone:], box[:, :zone], box[:, -zone:]):
        assert (strip == 255).all()
    assert (box[zone + 2 : zone + 5, zone + 2 : zone + 5] == 0).all()  # corner of a finder


def test_the_arrow_points_at_the_operator_and_stays_in_its_box(here):
    keep = formats.print_keep_outs(LABEL, label_box_mm=LABEL_BOX, arrow_xy_mm=ARROW)
    x0, y0, x1, y1 = keep.bounds_mm()[1]
    px = 10.0
    picture = raster(here(**order_of()).pdf, px_per_mm=px).mean(axis=2)
    picture = np.where(picture < 128, 1, 0)[::-1]
    box = picture[int(y0 * px) : int(y1 * px) + 1, int(x0 * px) : int(x1 * px) + 1]
    low, high = int(y0 * px) - 5, int(y1 * px) + 5
    around = picture[low:high, int(x0 * px) - 5 : int(x1 * px) + 5]
    assert around.sum() == box.sum()
    head = box[:, : int(5.2 * px)].sum(axis=1)
    assert head[1] < head[int(3.5 * px)] > head[int(6 * px)] > 0  # tip, widest, shaft
    assert box[:, int(6 * px) :].sum() > 400  # words


def test_layers_give_back_the_control_points_at_6_decimals(here):
    made = here(**order_of(cut_lines=[layer_of(LINES)]))
    (found,) = layer_segments(made.pdf).values()
    wanted = [row.split() for row in path_operators(LINES)]
    assert [word for _, word in found] == [row[-1] for row in wanted]
    for (values, _), row in zip(found, wanted, strict=True):
        assert values == pytest.approx([float(v) for v in row[:-1]], abs=1e-9)


def test_layers_carry_step_ink_overprint_and_are_on_but_off_in_print(here):
    layers = [
        layer_of(LINES, name="Outlines", separation="Outline follows / print"),
        layer_of(LINES, name="Kiss", step="Structural/PartialCutting", separation="Grün#1"),
        layer_of(LINES, name="Old", step="White", separation="Outline follows / print"),
    ]
    made = here(**order_of(cut_lines=layers))
    with pikepdf.open(io.BytesIO(made.pdf)) as pdf:
        groups = list(pdf.Root.OCProperties.OCGs)
        default = pdf.Root.OCProperties.D
        said = [(str(g.Name), str(g.GTS_Metadata.GTS_ProcStepsGroup)) for g in groups]
        assert said == [("Outlines", "/Structural"), ("Kiss", "/Structural"), ("Old", "/White")]
        assert groups[1].GTS_Metadata.GTS_ProcStepsType == pikepdf.Name.PartialCutting
        assert "/GTS_ProcStepsType" not in groups[2].GTS_Metadata
        assert [g.objgen for g in default.ON] == [g.objgen for g in groups]
        assert not len(default.OFF)
        assert {str(g.Usage.Print.PrintState) for g in groups} == {"/OFF"}
        resources = pdf.pages[0].Resources
        inks = [str(space[1]) for _, space in sorted(resources.ColorSpace.items())]
        assert inks == ["/Outline follows / print", "/Grün#1"]
        assert all(space[0] == pikepdf.Name.Separation for _, space in resources.ColorSpace.items())
        assert resources.ExtGState.Over.OP
    content = contents_of(made.pdf).decode()
    assert content.count("/Over gs") == 3
    assert [content.count(f"/I{i} CS 1 SCN") for i in range(2)] == [2, 1]


def test_the_file_without_cut_lines_has_none(here):
    made = here(**order_of(cut_lines=[layer_of(LINES)], with_cut_lines=False))
    with pikepdf.open(io.BytesIO(made.pdf)) as pdf:
        assert "/OCProperties" not in pdf.Root
        assert not set(pdf.pages[0].Resources.keys()) & {"/Properties", "/ColorSpace"}
    content = contents_of(made.pdf)
    assert b"BDC" not in content
    assert b"SCN" not in content
    assert b"Outline" not in made.pdf


def test_equal_orders_give_equal_bytes_and_others_do_not(here):
    art = [placed(Customer().bytes(b"0 0 50 50 re f"))]
    order = order_of(art=art, cut_lines=[layer_of(LINES)])
    first, second = here(**order).pdf, here(**order).pdf
    assert first == second
    assert here(**order | {"title": "Other"}).pdf != first
    assert b"CreationDate" not in first


def test_the_limited_process_makes_the_same_file(here):
    order = order_of(art=[placed(Customer().bytes(b"0 0 50 50 re f"))], cut_lines=[layer_of(LINES)])
    inside = here(**order).pdf
    with pytest.MonkeyPatch.context() as patch:
        from kerfwright.formats.child import run_reader

        patch.setattr(print_file, "run_reader", run_reader)
        assert formats.print_pdf(**order) == inside


@pytest.mark.parametrize(
    ("changed", "code"),
    [
        ({"marks": marks_of([(2.0, 20.0), (300.0, 200.0)])}, "PRT-110"),
        ({"label_box_mm": (60.0, -1.0, 90.0, 29.0)}, "PRT-111"),
        ({"arrow_xy_mm": (350.0, 5.0)}, "PRT-111"),
        ({"marks": marks_of([(57.0, 30.0), (300.0, 200.0)])}, "PRT-112"),
        ({"label_box_mm": (60.0, 20.0, 75.0, 40.0)}, "PRT-120"),
    ],
)
def test_what_lies_wrong_is_said(here, changed, code):
    made = here(**order_of(**changed))
    assert code in codes(made)
    for finding in made.findings:
        assert sentence_of(finding)
        assert cure_of(finding)


def test_a_usual_order_finds_nothing(here):
    assert codes(here(**order_of(cut_lines=[layer_of(LINES)]))) == []


def test_wrong_calls_are_refused(here):
    with pytest.raises(UsageError, match="empty"):
        here(**order_of(label_box_mm=(10, 10, 10, 20)))
    with pytest.raises(UsageError, match="bleed"):
        here(**order_of(bleed_mm=-1.0))
    for step in ("Cutting", "Structural", "Structural/Position", "White/Cutting", ""):
        with pytest.raises(ModelError, match="19593"):
            layer_of(LINES, step=step)
    for ink in ("All", "None", "Black", "Cyan", ""):
        with pytest.raises(ModelError, match="ink"):
            layer_of(LINES, separation=ink)
    art = {"file": b"", "page": 1, "box_mm": (0, 0, 1, 1)}
    for wrong in (
        {"sheet_from_artwork": [[1, 0, 0], [0, 2, 0]]},
        {"sheet_from_artwork": [[0, 0, 0], [0, 0, 0]]},
        {"page": 0},
        {"scale": 0.0},
        {"box_mm": (0, 0, 0, 1)},
        {"clip": make_path([(0, 0), (1, 1)], closed=False)},
    ):
        with pytest.raises(ModelError):
            formats.PlacedArt(**({"sheet_from_artwork": [[1, 0, 0], [0, 1, 0]]} | art | wrong))
