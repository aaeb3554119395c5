"""Layers, processing steps and inks, by every carrier a file may use.

Groups and types are those of ISO 19593-1:2018 as the Arlington PDF model lists them (table
GTS_ProcStepsGroup); they are written out here again, apart from the reader's own table.
"""

from __future__ import annotations

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name

from formats.pdf_pages import Page, codes, found, read_here, step

STRUCTURAL = [
    "Cutting",
    "PartialCutting",
    "ReversePartialCutting",
    "Creasing",
    "ReverseCreasing",
    "CuttingCreasing",
    "ReverseCuttingCreasing",
    "PartialCuttingCreasing",
    "ReversePartialCuttingCreasing",
    "Drilling",
    "Gluing",
    "FoilStamping",
    "ColdFoilStamping",
    "Embossing",
    "Debossing",
    "Perforating",
    "Bleed",
    "VarnishFree",
    "InkFree",
    "InkVarnishFree",
    "Folding",
    "Punching",
    "Stapling",
]
POSITIONS = ["Hologram", "Barcode", "ContentArea", "CodingMarking", "Imprinting"]
STEPS = (
    [("Structural", kind) for kind in STRUCTURAL]
    + [("Positions", kind) for kind in POSITIONS]
    + [(group, None) for group in ("Dimensions", "Braille", "Legend", "White", "Varnish")]
)
LINE = b"0 0 m 9 9 l S "


def direct(page, metadata):
    page.group("M", "Any name", metadata)
    page.content = b"/OC /M BDC " + LINE + b"EMC"


def member(page, metadata):
    page.membership("D", page.group("M", "Any name", metadata))
    page.content = b"/OC /D BDC " + LINE + b"EMC"


def member_list(page, metadata):
    groups = [page.group("X", "Plain"), page.group("M", "Any name", metadata)]
    page.membership("D", Array(groups))
    page.content = b"/OC /D BDC " + LINE + b"EMC"


def expression(page, metadata):
    inner = Array([Name.Or, page.group("M", "Any name", metadata), page.group("X", "Plain")])
    page.membership("D", page.group("Y", "Other"), VE=Array([Name.And, inner]))
    page.content = b"/OC /D BDC " + LINE + b"EMC"


def on_form(page, metadata):
    page.form("F", LINE, OC=page.group("M", "Any name", metadata))
    page.content = b"/F Do"


def around_form(page, metadata):
    page.group("M", "Any name", metadata)
    page.form("F", b"/Span BMC " + LINE + b"EMC")
    page.content = b"/OC /M BDC /F Do EMC"


def switched_off(page, metadata):
    direct(page, metadata)
    page.pdf.Root.OCProperties.D.OFF = Array([page.resources.Properties["/M"]])


CARRIERS = (direct, member, member_list, expression, on_form, around_form, switched_off)


@pytest.mark.parametrize("carrier", CARRIERS, ids=lambda c: c.__name__)
@pytest.mark.parametrize(("group", "kind"), STEPS)
def test_every_step_by_every_carrier(tmp_path, group, kind, carrier):
    page = Page()
    carrier(page, step(group, kind))
    drawing = read_here(tmp_path, page)
    assert drawing.step == (f"{group}/{kind}" if kind else group,)
    assert drawing.layer == ("Any name",)
    assert codes(drawing) == (["PDF-120"] if carrier is switched_off else [])


@pytest.mark.parametrize(
    ("metadata", "text", "code", "words"),
    [
        (step("Position", "Barcode"), "Positions/Barcode", "PDF-122", "Position/Barcode"),
        (step("White", "Cutting"), "White", "PDF-121", "White with a type, Cutting"),
        (step("Structural"), "", "PDF-121", "Structural without a type"),
        (step(None, "Cutting"), "", "PDF-121", "the group is missing"),
        (step(pikepdf.String("Structural"), "Cutting"), "", "PDF-121", "is no name"),
        (step("Structural", pikepdf.String("Cutting")), "", "PDF-121", "type of Structural is no"),
        (Array([Name.Structural]), "", "PDF-121", "no dictionary"),
        (step("Structural", "KissCut"), "Structural/KissCut", "PDF-123", "not in the standard"),
        (step("ABCD_Own", "Thing"), "ABCD_Own/Thing", "PDF-123", "a name of its own"),
        (Dictionary(Other=1), "", None, ""),
        (step("Primer"), "Primer", None, ""),
        (step("PlateMaking", "NoMark"), "PlateMaking/NoMark", None, ""),
    ],
)
def test_steps_that_are_declared_wrongly(tmp_path, metadata, text, code, words):
    page = Page()
    direct(page, metadata)
    drawing = read_here(tmp_path, page)
    assert drawing.step == (text,)
    assert codes(drawing) == ([code] if code else [])
    if code:
        assert words in found(drawing, code).params["names"]


def test_layers_within_layers(tmp_path):
    """The innermost layer names the line, the innermost step that is declared counts."""
    page = Page(
        b"/OC /A BDC " + LINE + b"/OC /B BDC " + LINE + b"/OC /C BDC " + LINE
        + b"EMC EMC /P /C DP /Span << /X 1 >> BDC " + LINE + b"EMC EMC " + LINE
    )  # fmt: skip
    page.group("A", "Outer", step("Structural", "Cutting"))
    page.group("B", "Middle")
    page.group("C", "Inner", step("Structural", "Creasing"))
    drawing = read_here(tmp_path, page)
    assert drawing.layer == ("Outer", "Middle", "Inner", "Outer", "")
    cut = "Structural/Cutting"
    assert drawing.step == (cut, cut, "Structural/Creasing", cut, "")
    assert codes(drawing) == ["PDF-124"]


def test_memberships_that_leave_a_doubt(tmp_path):
    page = Page(
        b"/OC /D BDC " + LINE + b"EMC /OC /N BDC " + LINE + b"EMC /OC /E BDC " + LINE + b"EMC"
    )
    a = page.group("A", "Cut", step("Structural", "Cutting"))
    b = page.group("B", "Crease", step("Structural", "Creasing"))
    page.membership("D", Array([a, b]))
    page.membership("N", a, P=Name.AllOff)
    page.membership("E", b, VE=Array([Name.Not, a]))
    drawing = read_here(tmp_path, page)
    assert drawing.step == ("", "", "")
    assert drawing.layer == ("Cut", "", "")
    names = found(drawing, "PDF-124").params["names"]
    assert "Structural/Creasing and Structural/Cutting" in names
    assert "shown only while Cut is off" in names


def test_layers_that_are_not_there(tmp_path):
    page = Page(b"/OC /Gone BDC " + LINE + b"EMC /OC /Bad BDC " + LINE + b"EMC /OC BMC EMC EMC")
    page.resources.Properties["/Bad"] = Dictionary(Type=Name.Font)
    drawing = read_here(tmp_path, page)
    assert drawing.layer == ("", "")
    assert codes(drawing) == ["PDF-125", "PDF-130", "PDF-135"]
    assert found(drawing, "PDF-125").params["count"] == 3


@pytest.mark.parametrize("start", ["OFF", "base"])
def test_layers_that_are_off_are_read_and_named(tmp_path, start):
    page = Page()
    direct(page, step("Structural", "Cutting"))
    groups = Array([page.resources.Properties["/M"]])
    page.pdf.Root.OCProperties.D = (
        Dictionary(OFF=groups) if start == "OFF" else Dictionary(BaseState=Name.OFF)
    )
    assert found(read_here(tmp_path, page), "PDF-120").params == {
        "count": 1, "names": "Any name (1)",
    }  # fmt: skip
    page.pdf.Root.OCProperties.D = Dictionary(BaseState=Name.OFF, ON=groups)
    assert codes(read_here(tmp_path, page)) == []


def test_an_end_of_a_form_does_not_end_the_layer_of_the_page(tmp_path):
    page = Page(b"/OC /A BDC /F Do " + LINE + b"EMC")
    page.group("A", "Outer")
    page.form("F", b"EMC EMC /OC /A BDC")
    drawing = read_here(tmp_path, page)
    assert drawing.layer == ("Outer",)
    assert codes(drawing) == ["PDF-130"]


def test_print_on_layers_of_steps_is_said(tmp_path):
    page = Page(
        b"BT (art) Tj 3 Tr (unseen) Tj ET /OC /A BDC BT 0 Tr [(cut me)] TJ (x) ' ET "
        b"/Im Do BI /W 1 /H 1 ID \x00 EI /Sh sh EMC /Im Do " + LINE
    )
    page.group("A", "Cut", step("Structural", "Cutting"))
    image = page.pdf.make_stream(b"\x00", Type=Name.XObject, Subtype=Name.Image, Width=1, Height=1)
    page.resources.XObject["/Im"] = image
    drawing = read_here(tmp_path, page)
    assert codes(drawing) == ["PDF-110", "PDF-111", "PDF-112"]
    wanted = "texts (3), pictures (3), shadings (1)"
    assert found(drawing, "PDF-110").params == {"count": 7, "names": wanted}
    assert found(drawing, "PDF-111").params["names"] == "Cut (Structural/Cutting) (2)"
    assert found(drawing, "PDF-112").params["count"] == 3


@pytest.mark.parametrize(
    ("raw", "text"),
    [
        (b"Gr#fcn", "Grün"),  # one byte, as older programs write it
        ("Grün".encode(), "Grün"),  # UTF-8, as the standard asks
        (b"Cut#20Contour", "Cut Contour"),
        (b"All", "All"),
    ],
)
def test_names_in_any_bytes(tmp_path, raw, text):
    page = Page(b"/XXXXXX CS 1 SCN " + LINE)
    page.spot("XXXXXX", "XXXXXX")
    data = page.plain_bytes().replace(b"XXXXXX", raw)
    drawing = read_here(tmp_path, data)
    assert drawing.separation == (text,)
    # names of another length move the table of the file, which is then repaired and said
    assert set(codes(drawing)) <= {"PDF-140"}


INKS = {
    "grey": (b"0.5 G", "", "#808080"),
    "rgb": (b"1 0 0.2 RG", "", "#ff0033"),
    "process": (b"0 1 0 0 K", "", "#ff00ff"),
    "black": (b"", "", "#000000"),
    "device by name": (b"/DeviceCMYK CS", "", "#000000"),
    "spot": (b"/Spot CS 1 SCN", "Cut", "#ff00ff"),
    "spot, no tint chosen": (b"/Spot CS", "Cut", "#ff00ff"),
    "spot, half": (b"/Spot CS 0.5 SCN", "Cut", "#ff80ff"),
    "one of two inks": (b"/Two CS 0 1 SCN", "Crease", ""),
    "two of two inks": (b"/Two CS 0.1 1 SCN", "", ""),
    "no ink of two": (b"/Two CS 0 0 SCN", "", ""),
    "profile": (b"/Icc CS 1 1 1 SC", "", "#ffffff"),
    "pattern": (b"/Pattern CS /P1 SCN", "", ""),
    "pattern over an ink": (b"/Over CS 1 /P1 SCN", "Cut", ""),
    "lab": (b"/Lab CS 50 0 0 SC", "", ""),
    "index of spots": (b"/Index CS 1 SC", "Cut", ""),
}


@pytest.mark.parametrize("name", INKS)
def test_inks(tmp_path, name):
    chosen, separation, colour = INKS[name]
    page = Page(chosen + b" " + LINE)
    page.spot("Spot", "Cut")
    spaces, pdf = page.resources.ColorSpace, page.pdf
    function = pdf.make_stream(
        b"{pop}", FunctionType=4, Domain=[0, 1, 0, 1], Range=[0, 1, 0, 1, 0, 1, 0, 1]
    )
    inks = Array([Name.Cut, Name.Crease])
    spaces["/Two"] = Array([Name.DeviceN, inks, Name.DeviceCMYK, function])
    spaces["/Icc"] = Array([Name.ICCBased, pdf.make_stream(b"profile", N=3)])
    spaces["/Over"] = Array([Name.Pattern, spaces.Spot])
    spaces["/Lab"] = Array([Name.Lab, Dictionary(WhitePoint=[1, 1, 1])])
    spaces["/Index"] = Array([Name.Indexed, spaces.Spot, 1, pikepdf.String("ab")])
    drawing = read_here(tmp_path, page)
    assert drawing.separation == (separation,)
    assert drawing.stroke[0].colour == colour
    mixed = name in ("two of two inks", "no ink of two")
    assert codes(drawing) == (["PDF-126"] if mixed else [])


def test_fills_are_named_by_their_own_ink(tmp_path):
    page = Page(b"/Spot cs 1 scn 0 0 9 9 re f 0 1 0 RG 20 0 9 9 re B 40 0 m 50 0 l S")
    page.spot("Spot", "White")
    drawing = read_here(tmp_path, page)
    assert drawing.separation == ("White", "White", "")


def test_wrong_colours_and_missing_spaces(tmp_path):
    page = Page(b"/Spot CS 1 1 SCN " + LINE + b"/Gone CS 1 SCN 1 RG " + LINE)
    page.spot("Spot", "Cut")
    drawing = read_here(tmp_path, page)
    assert drawing.separation == ("", "")
    assert codes(drawing) == ["PDF-130", "PDF-135"]


def test_annotations_are_said(tmp_path):
    page = Page(LINE)
    page.page.Annots = Array([Dictionary(Type=Name.Annot, Subtype=Name.Text, Rect=[0, 0, 1, 1])])
    assert codes(read_here(tmp_path, page)) == ["PDF-113"]
