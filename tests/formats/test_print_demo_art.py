"""The demo orders' artwork: what the demo needs of it, and the print made of it."""

from __future__ import annotations

import importlib.machinery
import importlib.util
import io
from importlib.resources import files
from pathlib import Path

import numpy as np
import pikepdf
import pytest

from formats.print_pages import order_of, placed, raster
from kerfwright import formats

SCRIPT = Path(__file__).parents[2] / "scripts/draw-boards"
DEMO = files("kerfwright.job").joinpath("demo")
PER_MM = 72.0 / 25.4
BOARDS, STICKERS = "boards/boards.pdf", "film/stickers.pdf"
LAYERS = {
    BOARDS: {
        "Outlines": ("Structural/Cutting", "OutlineFollowsPrint"),
        "Holes": ("Structural/Cutting", "HoleKeepsSize"),
        "Fine outlines": ("Structural/Cutting", "FineOutlineFollowsPrint"),
    },
    STICKERS: {
        "Kiss": ("Structural/PartialCutting", "Kiss"),
        "Card": ("Structural/Cutting", "Through"),
    },
}


def data_of(name):
    return DEMO.joinpath(name).read_bytes()


def box_of(page, name):
    return np.array([float(v) for v in page.obj[f"/{name}Box"]]) / PER_MM


def size_of(page):
    x0, y0, x1, y1 = box_of(page, "Trim")
    return x1 - x0, y1 - y0


@pytest.fixture(scope="module")
def script():
    loader = importlib.machinery.SourceFileLoader("draw_boards", str(SCRIPT))
    module = importlib.util.module_from_spec(importlib.util.spec_from_loader("draw_boards", loader))
    loader.exec_module(module)
    return module


@pytest.mark.parametrize(("name", "count"), [(BOARDS, 6), (STICKERS, 3)])
def test_pages_have_bleed_steps_inks_and_no_fonts(name, count):
    data = data_of(name)
    assert len(data) < 300_000
    assert b"/Font" not in data
    with pikepdf.open(io.BytesIO(data)) as pdf:
        assert len(pdf.pages) == count
        for page in pdf.pages:
            bleed, trim = box_of(page, "Bleed"), box_of(page, "Trim")
            assert trim - bleed == pytest.approx([3, 3, -3, -3], abs=1e-5)
            found = {}
            for i, group in enumerate(page.Resources.Properties.values()):
                data_of_step = group.GTS_Metadata
                step = "/".join(
                    str(data_of_step[f"/GTS_ProcSteps{k}"])[1:] for k in ("Group", "Type")
                )
                ink = str(page.Resources.ColorSpace[f"/I{i}"][1])[1:]
                found[str(group.Name)] = (step, ink)
            assert found.items() <= LAYERS[name].items()
            outlines = {"Outlines", "Fine outlines"} & set(found)
            assert len(outlines) == 1 or {"Kiss", "Card"} == set(found)


def test_four_of_each_board_take_60_to_70_percent_of_a_sheet():
    with pikepdf.open(io.BytesIO(data_of(BOARDS))) as pdf:
        sizes = np.array([size_of(page) for page in pdf.pages])
        with_holes = sum(len(page.Resources.Properties) == 2 for page in pdf.pages)
    assert 0.60 <= 4.0 * sizes.prod(axis=1).sum() / (2440.0 * 1220.0) <= 0.70
    assert sizes.min() >= 150.0 - 0.01
    assert sizes.max() <= 520.0
    assert with_holes == 3


def test_the_script_draws_what_is_kept(script, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(script, "DEMO", tmp_path)
    script.main()
    assert "boards.pdf" in capsys.readouterr().out
    for name in (BOARDS, STICKERS):
        with pikepdf.open(tmp_path / name) as new, pikepdf.open(io.BytesIO(data_of(name))) as kept:
            contents = [[page.Contents.read_bytes() for page in pdf.pages] for pdf in (new, kept)]
        assert contents[0] == contents[1]


def test_the_print_of_a_board_shows_its_picture_and_none_of_its_lines():
    data = data_of(BOARDS)
    art = [placed(data, box_mm=(-3.0, -3.0, 283.0, 343.0), page=1, name="boards.pdf",
                  sheet_from_artwork=[[0.5, 0.0, 100.0], [0.0, 0.5, 100.0]])]  # fmt: skip
    made = formats.compose_print(**order_of(art=art))
    assert [(f.code, f.params["count"]) for f in made.findings] == [("PRT-130", 2)]
    assert b"OutlineFollowsPrint" not in made.pdf
    picture = raster(made.pdf, px_per_mm=4.0)
    height = picture.shape[0]
    shield = picture[height - 1080 : height - 400, 400:960]
    # the customer's file paints its holes in full cyan, of which the picture has none
    cyan = (shield[:, :, 0] < 60) & (shield[:, :, 1] > 140) & (shield[:, :, 2] > 200)
    assert not cyan.any()
    assert len(np.unique(shield.reshape(-1, 3), axis=0)) > 500
    lined = raster(data, px_per_mm=4.0)
    assert ((lined[:, :, 0] < 60) & (lined[:, :, 1] > 140) & (lined[:, :, 2] > 200)).any()
