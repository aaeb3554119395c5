"""Customers' pages in the print: placed where they shall be, and without what must not print."""

from __future__ import annotations

import io
from itertools import product

import numpy as np
import pikepdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pikepdf import Array, Dictionary, Name

from formats.print_pages import Customer, order_of, pixel, placed, raster
from kerfwright import formats
from kerfwright.errors import UnreadableError
from kerfwright.errors.messages import cure_of, sentence_of
from kerfwright.formats import print_file
from kerfwright.formats.print import assemble
from kerfwright.formats.print.art import page_form
from kerfwright.geometry.paths import make_circle

MM_PER_POINT = 25.4 / 72.0
WHITE = (255, 255, 255)
RED, GREEN, BLUE = (255, 0, 0), (0, 255, 0), (0, 0, 255)


@pytest.fixture
def printed(monkeypatch):
    """Print art alone; gives the raster and the findings."""

    def run(_, request, **__):
        return assemble.assemble(request)

    monkeypatch.setattr(print_file, "run_reader", run)
    monkeypatch.setattr(pikepdf.settings, "set_qpdf_limits", lambda **_: {})

    def make(*art, **changed):
        made = formats.compose_print(**order_of(art=art, **changed))
        for finding in made.findings:
            assert sentence_of(finding)
            assert cure_of(finding)
        return made

    return make


def seen(made, x_pt, y_pt):
    """The colour at a point of the artwork, given in points, placed at 100, 100 mm."""
    picture = raster(made.pdf, px_per_mm=2.0)
    return pixel(picture, 100.0 + x_pt * MM_PER_POINT, 100.0 + y_pt * MM_PER_POINT, 2.0)


def left_out(made):
    return {(f.code, f.params["name"], f.params["count"]) for f in made.findings if f.params}


# ------------------------------------------------------------------- place


@pytest.mark.parametrize(("turn", "unit"), list(product((0, 90, 180, 270, -90), (1, 2.5))))
def test_turn_unit_and_trim_are_honoured(printed, turn, unit):
    # A mark of 4 by 4 points at a corner of the trim box that is 40 by 20 points large.
    page = Customer(media=(-50, -30, 150, 130), TrimBox=Array([10, 20, 50, 40]))
    page.page.Rotate, page.page.UserUnit = turn, unit
    file = page.bytes(b"1 0 0 rg 10 20 4 4 re f 0 0 1 rg 46 36 4 4 re f")
    # ISO 32000-1, table 30: Rotate turns the page clockwise when it is shown.
    red = {0: (2, 2), 90: (2, 38), 180: (38, 18), 270: (18, 2)}[turn % 360]
    blue = {0: (38, 18), 90: (18, 2), 180: (2, 2), 270: (2, 38)}[turn % 360]
    made = printed(placed(file))
    assert seen(made, red[0] * unit, red[1] * unit) == RED
    assert seen(made, blue[0] * unit, blue[1] * unit) == BLUE
    assert seen(made, 20 * unit, 10 * unit) == WHITE


def test_art_is_placed_many_times_but_held_once(printed):
    file = Customer().bytes(b"0 1 0 rg 0 0 30 30 re f")
    turned = [[0.0, -1.0, 300.0], [1.0, 0.0, 200.0]]
    made = printed(placed(file), placed(file, sheet_from_artwork=turned))
    picture = raster(made.pdf)
    assert pixel(picture, 105.0, 105.0) == GREEN
    assert pixel(picture, 295.0, 205.0) == GREEN
    assert pixel(picture, 305.0, 205.0) == WHITE
    with pikepdf.open(io.BytesIO(made.pdf)) as pdf:
        assert len(pdf.pages[0].Resources.XObject) == 1
        assert pdf.pages[0].Contents.read_bytes().count(b"/F0 Do") == 2


def test_art_is_clipped_to_its_box_and_its_outline(printed):
    file = Customer(media=(0, 0, 300, 300)).bytes(b"1 0 0 rg 0 0 300 300 re f")
    box = placed(file, box_mm=(5.0, 10.0, 40.0, 30.0))
    picture = raster(printed(box).pdf, px_per_mm=10.0)
    red = (picture == RED).all(axis=2)
    rows, columns = np.flatnonzero(red.any(axis=1)), np.flatnonzero(red.any(axis=0))
    assert (columns[0] / 10.0, columns[-1] / 10.0) == pytest.approx(
        (105.0, 139.9), abs=0.11
    )  # the renderer clips to whole pixels
    up = (picture.shape[0] - rows) / 10.0
    assert (up[-1], up[0]) == pytest.approx((110.1, 130.0), abs=0.11)
    round_one = placed(file, box_mm=(0, 0, 90, 90), clip=make_circle((50.0, 50.0), 20.0))
    picture = raster(printed(round_one).pdf, px_per_mm=5.0)
    around = picture[750 - 125 : 750 + 125, 750 - 125 : 750 + 125, 1]
    area = (1.0 - around / 255.0).sum() / 25.0
    assert area == pytest.approx(np.pi * 400.0, rel=0.003)


def test_art_drawn_at_a_tenth_is_enlarged(printed):
    file = Customer(media=(0, 0, 50, 50)).bytes(b"1 0 0 rg 10 10 10 10 re f")
    made = printed(placed(file, scale=10.0, box_mm=(0.0, 0.0, 150.0, 150.0)))
    assert seen(made, 150, 150) == RED
    assert seen(made, 250, 150) == WHITE
    assert not made.findings


def test_resources_and_boxes_are_inherited(printed):
    page = Customer()
    page.put("ExtGState", G=Dictionary(CA=1))
    file = page.bytes(b"/G gs 1 0 0 rg 10 10 20 20 re f")
    with pikepdf.open(io.BytesIO(file)) as pdf:
        obj = pdf.pages[0].obj
        for key in ("/MediaBox", "/Resources"):
            pdf.Root.Pages[key] = obj[key]
            del obj[key]
        out = io.BytesIO()
        pdf.save(out)
    assert seen(printed(placed(out.getvalue())), 20, 20) == RED


# ------------------------------------------------------------------- left out


RED_THEN_BLUE = b"1 0 0 rg 0 0 20 20 re f %s 0 0 1 rg 40 0 20 20 re f"
STEPS = ["Structural/Cutting", "Structural/PartialCutting", "White", "Legend", "GWGS_Own/Thing"]


@pytest.mark.parametrize(
    ("step", "carrier"),
    [(step, "direct") for step in STEPS]
    + [(STEPS[0], carrier) for carrier in ("membership", "expression", "form", "nested")],
)
def test_steps_never_print_whatever_carries_them(printed, step, carrier):
    page = Customer()
    group = page.group("cut lines", step)
    art = page.group("art")
    box = b"0 0 1 rg 0 1 0 RG 40 0 20 20 re B"
    if carrier == "form":
        page.put("XObject", X=page.form(box, OC=group))
        content = b"/X Do"
    elif carrier == "nested":
        page.put("Properties", A=art, B=group)
        content = b"/OC /A BDC /OC /B BDC q 1 0 0 1 0 0 cm " + box + b" Q EMC EMC"
    else:
        what = {
            "direct": group,
            "membership": Dictionary(Type=Name.OCMD, OCGs=Array([group, art])),
            "expression": Dictionary(Type=Name.OCMD, VE=Array([Name.Or, group, art])),
        }[carrier]
        page.put("Properties", B=what)
        content = b"/OC /B BDC " + box + b" EMC"
    made = printed(placed(page.bytes(b"1 0 0 rg 0 0 20 20 re f " + content)))
    assert seen(made, 10, 10) == RED
    assert seen(made, 50, 10) == WHITE
    code = "PRT-131" if step == "White" else "PRT-130"
    assert left_out(made) == {(code, step, 1)}
    assert step.encode() not in made.pdf


def test_layers_that_are_off_stay_off_and_others_print(printed):
    page = Customer()
    groups = {n: page.group(n, off=n.startswith("off")) for n in ("on", "off a", "off b")}
    page.put("Properties", A=groups["on"], B=groups["off a"])
    page.put("XObject", C=page.form(b"0 1 0 rg 80 0 20 20 re f", OC=groups["off b"]))
    content = b"/OC /A BDC 1 0 0 rg 0 0 20 20 re f EMC /OC /B BDC 40 0 20 20 re f EMC /C Do"
    made = printed(placed(page.bytes(content)))
    assert [seen(made, x, 10) for x in (10, 50, 90)] == [RED, WHITE, WHITE]
    assert left_out(made) == {("PRT-133", "off a", 1), ("PRT-133", "off b", 1)}
    with pikepdf.open(io.BytesIO(made.pdf)) as pdf:
        assert "/OCProperties" not in pdf.Root


@pytest.mark.parametrize(
    ("policy", "states", "prints"),
    [
        ("AnyOn", "10", True),
        ("AnyOn", "00", False),
        ("AllOn", "10", False),
        ("AllOn", "11", True),
        ("AnyOff", "10", True),
        ("AnyOff", "11", False),
        ("AllOff", "00", True),
        ("AllOff", "10", False),
        (None, "10", True),
    ],
)
def test_membership_policies_are_those_of_the_standard(printed, policy, states, prints):
    # ISO 32000-1, table 99.
    page = Customer()
    groups = [page.group(str(i), off=s == "0") for i, s in enumerate(states)]
    member = Dictionary(Type=Name.OCMD, OCGs=Array(groups))
    if policy:
        member.P = Name(f"/{policy}")
    page.put("Properties", M=member)
    made = printed(placed(page.bytes(b"/OC /M BDC 1 0 0 rg 0 0 20 20 re f EMC")))
    assert seen(made, 10, 10) == (RED if prints else WHITE)


def test_usage_in_print_decides_where_the_file_asks_for_it(printed):
    page = Customer()
    screen, paper = page.group("screen only"), page.group("paper only", off=True)
    screen.Usage = Dictionary(Print=Dictionary(PrintState=Name.OFF))
    paper.Usage = Dictionary(Print=Dictionary(PrintState=Name.ON))
    page.put("Properties", S=screen, P=paper)
    content = b"1 0 0 rg /OC /S BDC 0 0 20 20 re f EMC /OC /P BDC 40 0 20 20 re f EMC"
    file = page.bytes(content)
    assert [seen(printed(placed(file)), x, 10) for x in (10, 50)] == [RED, WHITE]
    with pikepdf.open(io.BytesIO(file)) as pdf:
        groups = pdf.Root.OCProperties.OCGs
        rule = Dictionary(Event=Name.Print, Category=Array([Name.Print]), OCGs=groups)
        pdf.Root.OCProperties.D.AS = Array([rule])
        out = io.BytesIO()
        pdf.save(out)
    assert [seen(printed(placed(out.getvalue())), x, 10) for x in (10, 50)] == [WHITE, RED]


def test_hidden_content_still_moves_clips_and_saves(printed):
    # ISO 32000-1, 8.11.3.2: graphics state operators of hidden content take effect.
    page = Customer()
    page.put("Properties", H=page.group("hidden", off=True))
    hidden = b"/OC /H BDC 1 0 0 1 40 0 cm 0 1 0 rg 0 0 10 100 re W f EMC "
    made = printed(placed(page.bytes(hidden + b"0 0 30 30 re f")))
    assert seen(made, 45, 10) == GREEN
    assert seen(made, 55, 10) == WHITE
    assert seen(made, 5, 10) == WHITE


def test_inks_to_be_left_out_are_and_others_print(printed):
    page = Customer()
    page.put("ColorSpace", Cut=page.ink("Thru cut"), Gold=page.ink("Gold"))
    content = (
        b"/Cut CS 1 SCN 1 0 0 rg 0 0 20 20 re B "
        b"/Cut cs 1 scn 0 0 1 RG 6 w 40 0 20 20 re b "
        b"q /Cut cs /Cut CS 80 0 20 20 re B* Q "
        b"/Gold cs 1 scn 120 0 20 20 re f 0 0 1 rg 160 0 20 20 re f"
    )
    made = printed(placed(page.bytes(content)), drop_separations={"Thru cut"})
    assert seen(made, 10, 10) == RED
    assert seen(made, 50, 10) == WHITE
    assert seen(made, 41, 10) == BLUE
    assert seen(made, 90, 10) == WHITE
    assert seen(made, 130, 10) not in {WHITE, BLUE}
    assert seen(made, 170, 10) == BLUE
    assert left_out(made) == {("PRT-132", "Thru cut", 3)}
    # printing software makes a plate of every ink a file names
    assert b"Thru#20cut" not in made.pdf
    assert b"/Gold" in made.pdf
    assert not left_out(printed(placed(page_bytes_again(content))))


def page_bytes_again(content):
    page = Customer()
    page.put("ColorSpace", Cut=page.ink("Thru cut"), Gold=page.ink("Gold"))
    return page.bytes(content)


def test_an_ink_is_left_out_inside_forms_that_take_their_colour_from_outside(printed):
    page = Customer()
    box = b"0 0 20 20 re f"
    page.put("ColorSpace", Cut=page.ink("Cut"))
    page.put("XObject", X=page.form(box))
    content = b"1 0 0 rg /X Do 1 0 0 1 40 0 cm /Cut cs 1 scn /X Do"
    made = printed(placed(page.bytes(content)), drop_separations=["Cut"])
    assert [seen(made, x, 10) for x in (10, 50)] == [RED, WHITE]


def test_a_mixed_ink_is_left_out_only_when_nothing_else_is_in_it(printed):
    page = Customer()
    tint = page.pdf.make_stream(b"{ pop dup 0 exch 0 0 }")
    tint.FunctionType, tint.Domain, tint.Range = 4, Array([0, 1] * 2), Array([0, 1] * 4)
    space = Array([Name.DeviceN, Array([Name("/Cut"), Name("/Gold")]), Name.DeviceCMYK, tint])
    page.put("ColorSpace", N=space)
    content = b"/N cs 1 0 scn 0 0 20 20 re f 1 1 scn 40 0 20 20 re f"
    made = printed(placed(page.bytes(content)), drop_separations=["Cut"])
    assert seen(made, 10, 10) == WHITE
    assert seen(made, 50, 10) != WHITE
    assert left_out(made) == {("PRT-132", "Cut", 1)}


def test_hidden_text_keeps_the_place_of_what_follows(printed):
    page = Customer()
    page.put("Properties", H=page.group("hidden", off=True))
    page.put("Font", F=Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Courier))
    text = b"BT /F 40 Tf 10 10 Td 1 0 0 rg %s (M) Tj %s 0 0 1 rg (M) Tj ET"
    whole = raster(printed(placed(page.bytes(text % (b"", b"")))).pdf)
    again = Customer()
    again.put("Properties", H=again.group("hidden", off=True))
    again.put("Font", F=Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Courier))
    part = raster(printed(placed(again.bytes(text % (b"/OC /H BDC", b"EMC")))).pdf)

    def blue(picture):
        return (picture[:, :, 2] > 200) & (picture[:, :, 0] < 60)

    def red(picture):
        return (picture[:, :, 0] > 200) & (picture[:, :, 2] < 60)

    assert red(whole).sum() > 50
    assert red(part).sum() == 0
    assert blue(part).sum() > 50
    assert (blue(part) == blue(whole)).all()


def test_hidden_pictures_and_shadings_are_left_out(printed):
    page = Customer()
    image = page.pdf.make_stream(bytes([255, 0, 0]))
    image.Type, image.Subtype, image.Width, image.Height = Name.XObject, Name.Image, 1, 1
    image.ColorSpace, image.BitsPerComponent = Name.DeviceRGB, 8
    function = Dictionary(FunctionType=2, Domain=[0, 1], C0=[0, 0, 1], C1=[0, 0, 1], N=1)
    shading = Dictionary(
        ShadingType=2, ColorSpace=Name.DeviceRGB, Coords=[0, 0, 1, 0], Function=function
    )
    shading.Extend = Array([True, True])
    page.put("XObject", I=image).put("Shading", S=shading)
    page.put("Properties", H=page.group("hidden", off=True))
    inline = b"q 20 0 0 20 %d 40 cm BI /W 1 /H 1 /CS /RGB /BPC 8 ID \x00\xff\x00 EI Q "
    picture = b"q 20 0 0 20 %d 0 cm /I Do Q "
    shade = b"q %d 80 20 20 re W n /S sh Q "
    content = b"".join(p % 0 for p in (inline, picture, shade))
    content += b"/OC /H BDC " + b"".join(p % 40 for p in (inline, picture, shade)) + b"EMC "
    made = printed(placed(page.bytes(content)))
    assert [seen(made, 10, y) for y in (10, 50, 90)] == [RED, GREEN, BLUE]
    assert [seen(made, 50, y) for y in (10, 50, 90)] == [WHITE] * 3
    assert left_out(made) == {("PRT-133", "hidden", 3)}


def test_patterns_and_masks_are_cleaned_too(printed):
    page = Customer()
    group = page.group("cut", "Structural/Cutting")
    inner = Dictionary(Properties=Dictionary(H=group))
    tile = page.form(
        b"1 0 0 rg 0 0 5 10 re f /OC /H BDC 0 1 0 rg 5 0 5 10 re f EMC", inner, (0, 0, 10, 10)
    )
    del tile["/Subtype"]
    tile.Type, tile.PatternType, tile.PaintType, tile.TilingType = Name.Pattern, 1, 1, 1
    tile.XStep, tile.YStep = 10, 10
    page.put("Pattern", P=tile)
    made = printed(placed(page.bytes(b"/Pattern cs /P scn 0 0 100 100 re f")))
    picture = raster(made.pdf)
    assert (picture == RED).all(axis=2).any()
    assert not ((picture[:, :, 1] > 150) & (picture[:, :, 0] < 150)).any()
    assert left_out(made) == {("PRT-130", "Structural/Cutting", 1)}


def test_a_mask_in_shared_resources_is_no_cycle(printed):
    page = Customer()
    shared = page.pdf.make_indirect(Dictionary())
    mask = page.form(b"1 g 0 0 100 100 re f", shared, (0, 0, 200, 100))
    mask.Group = Dictionary(S=Name.Transparency, CS=Name.DeviceGray)
    mask = page.pdf.make_indirect(mask)
    soft = Dictionary(SMask=Dictionary(S=Name.Luminosity, G=mask))
    shared.ExtGState = Dictionary(M=soft)
    page.page.Resources = shared
    made = printed(placed(page.bytes(b"/M gs 1 0 0 rg 0 0 200 50 re f")))
    assert seen(made, 50, 20) == RED
    assert seen(made, 150, 20) == WHITE


def test_names_that_are_no_utf8_do_not_stop_a_page(printed):
    page = Customer()
    file = page.bytes(b"/Gr\xfcn gs 1 0 0 rg 0 0 20 20 re f")
    file = file.replace(b"/Resources <<", b"/Resources << /ExtGState << /Gr#fcn << /CA 1 >> >> ", 1)
    assert b"#fc" in file
    assert seen(printed(placed(file)), 10, 10) == RED


# ------------------------------------------------------------------- said


def test_annotations_and_missing_bleed_are_said(printed):
    page = Customer()
    page.page.Annots = Array([Dictionary(Type=Name.Annot, Subtype=Name.Text, Rect=[0, 0, 9, 9])])
    file = page.bytes(b"")
    made = printed(placed(file, box_mm=(-3.0, 0.0, 50.0, 30.0)))
    found = {f.code: f for f in made.findings}
    assert found["PRT-134"].measured == 1
    assert found["PRT-141"].measured == pytest.approx(3.0)
    assert (found["PRT-141"].where.file, found["PRT-141"].where.page) == ("art.pdf", 1)


def test_bad_files_are_refused_in_one_sentence(printed):
    page = Customer()
    first = page.form(b"/B Do", Dictionary())
    second = page.form(b"/A Do", Dictionary(XObject=Dictionary(A=first)))
    first.Resources.XObject = Dictionary(B=second)
    page.put("XObject", A=first)
    cyclic = page.bytes(b"/A Do")
    locked = Customer().bytes(encryption=pikepdf.Encryption(owner="o", user="u"))
    good = Customer().bytes(b"")
    for file, number, said in (
        (b"not a file", 1, "damaged"),
        (b"", 1, "damaged"),
        (locked, 1, "password"),
        (good, 2, "page 2 was asked for, the file has 1"),
        (cyclic, 1, "contains itself"),
    ):
        with pytest.raises(UnreadableError, match=said) as refused:
            printed(placed(file, page=number))
        assert "art.pdf" in str(refused.value)
        assert "\n" not in str(refused.value)


def test_forms_that_double_are_written_once_each(printed):
    page = Customer()
    form = page.form(b"1 0 0 rg 0 0 20 20 re f")
    for _ in range(18):
        form = page.form(b"/X Do /X Do", Dictionary(XObject=Dictionary(X=form)))
    page.put("XObject", X=form)
    made = formats_of(printed, page.bytes(b"/X Do"))
    assert len(made) < 20_000


def formats_of(printed, file):
    return printed(placed(file)).pdf


def test_forms_nested_too_deep_are_refused(printed):
    page = Customer()
    form = page.form(b"0 0 20 20 re f")
    for _ in range(40):
        form = page.form(b"/X Do", Dictionary(XObject=Dictionary(X=form)))
    page.put("XObject", X=form)
    with pytest.raises(UnreadableError, match="deeper than 24"):
        printed(placed(page.bytes(b"/X Do")))


SOUP = [
    *b"q Q BT ET BMC EMC 1 0 -3.5 1e9 /Cut /X /P /H /OC /#zz (text) <41> cs CS scn SCN g".split(),
    *b"rg k Do sh gs Tr Tj TJ ' m l c h re W n S f B b* cm w d ri i true null ..5 --1 \xff".split(),
    *(b"/OC /H BDC", b"/Cut cs 1 scn", b"/X Do", b"[1 (a)]", b"<< /A 1 >>", b"0 0 1 1 re b"),
    b"BI /W 1 /H 1 /CS /Cut /BPC 8 ID \x00 EI",
]


@given(st.lists(st.sampled_from(SOUP), max_size=40))
@settings(max_examples=80)
def test_any_content_ends_as_balanced_content(words):
    page = Customer()
    page.put("ColorSpace", Cut=page.ink("Cut")).put("XObject", X=page.form(b"0 0 5 5 re f"))
    page.put("Properties", H=page.group("hidden", off=True))
    with pikepdf.open(io.BytesIO(page.bytes(b" ".join(words)))) as pdf:
        made = page_form(pdf, 1, name="art.pdf", drop=frozenset(["Cut"]))
        parsed = pikepdf.parse_content_stream(made.form)
        found = [operator.unparse().decode("latin-1") for _, operator in parsed]
    depth = dict.fromkeys(("q", "BDC"), 0)
    for word in found:
        kind = "q" if word in {"q", "Q"} else "BDC" if word in {"BDC", "BMC", "EMC"} else ""
        if kind:
            depth[kind] += -1 if word in {"Q", "EMC"} else 1
        assert min(depth.values()) >= 0
    assert set(depth.values()) == {0}
