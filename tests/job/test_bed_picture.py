"""A picture of the whole bed tells where a thrown sheet lies, and the walk begins there."""

from __future__ import annotations

import io
import json
import math
from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image

from job.test_sheets import SMALL, quiet, small_scenario
from kerfwright import virtual
from kerfwright.errors import GeometryError, Severity, UnreadableError, UsageError
from kerfwright.job import rehearsal
from kerfwright.job.bed_picture import guess_from_bed, look_at_bed, read_bed_points
from kerfwright.job.looking import walk
from kerfwright.job.order import DRAWN_ORDERS, make_drawn_job, make_printed_job
from kerfwright.job.pipeline import run_stages
from kerfwright.job.stages import STAGES
from kerfwright.job.store import FolderStore

PX_PER_MM = 2.0
SIZE = (4600, 3000)


@pytest.fixture(scope="module")
def office(tmp_path_factory):
    store = FolderStore(tmp_path_factory.mktemp("bed") / "shop")
    return run_stages(STAGES, make_printed_job(SMALL, store), store, last="print",
                      progress=quiet), store  # fmt: skip


def truth_of(office, throw, **printer):
    run, store = office
    good = small_scenario()
    scenario = replace(good, throw=throw, printer=replace(good.printer, **printer))
    return rehearsal.print_virtually(
        run.upstream["layout"], run.upstream["print"], scenario, run.context, store
    )


def slanted(truth, bed):
    """Return a picture of the bed at an angle, and its known points."""
    x0, y0, x1, y1 = bed
    wide, high = round((x1 - x0) * PX_PER_MM), round((y1 - y0) * PX_PER_MM)
    optics = virtual.Optics(px_per_mm=PX_PER_MM, size_px=(wide, high), blur_px=0.6,
                            working_distance_mm=4000.0, position_sd_mm=0.0)  # fmt: skip
    image, photo = virtual.photograph(
        replace(truth, optics=optics), np.array(((x0 + x1) / 2.0, (y0 + y1) / 2.0)), shot=0
    )
    fit = cv2.getPerspectiveTransform(
        np.array(((0, 0), (wide, 0), (wide, high), (0, high)), np.float32),
        np.array(((300, 260), (4290, 180), (4420, 2830), (120, 2900)), np.float32),
    )
    table = np.array(((x0, y0), (x1, y0), (x1, y1), (x0, y1), ((x0 + x1) / 2.0, y0)))
    above = photo.image_from_table(table)
    w = np.column_stack((above, np.ones(len(above)))) @ fit.T
    out = io.BytesIO()
    Image.fromarray(cv2.warpPerspective(image, fit, SIZE)).save(out, "PNG", compress_level=1)
    return out.getvalue(), w[:, :2] / w[:, 2:], table


def test_the_walk_begins_where_the_bed_picture_has_the_sheet(office):
    """Thrown far from its place and turned by 40 degrees, no walk would find it unaided."""
    run, _ = office
    throw = virtual.Throw(x_mm=1200.0, y_mm=260.0, turn_rad=math.radians(40.0))
    truth = truth_of(office, throw)
    picture, px, table = slanted(truth, run.context.table.bed)
    marks = run.upstream["layout"].marks
    guess = guess_from_bed(picture, px, table, marks, run.context)
    assert not guess.is_blocked, guess.findings
    off = np.hypot(*(guess.places_mm - truth.marks_table_mm).T)
    assert off.max() < 4.0, off
    how = run.context.job.choices.marks
    laid = run.upstream["layout"]
    taken, why = walk(rehearsal.VirtualCamera(truth), guess.start_xy_mm, marks, laid.furniture,
                      how, run.context, quiet, expected=guess.table_from_sheet)  # fmt: skip
    assert why == ()
    assert len(taken) <= len(marks.xy) + 2, "a picture of each mark and of the label"
    shown = np.array([p.camera_xy_mm for p, _ in taken])
    near = np.abs(truth.marks_table_mm[:, None] - shown[None]).min(axis=1)
    assert (near < np.array(how.field_of_view_mm) / 2.0).all()


def test_an_empty_bed_says_so(office):
    run, _ = office
    points = np.array(((0, 0), (0, 1000), (1600, 1000), (1600, 0)), float)
    x0, y0, x1, y1 = run.context.table.bed
    table = np.array(((x0, y0), (x0, y1), (x1, y1), (x1, y0)))
    grey = np.tile(np.linspace(60, 200, 5200).astype(np.uint8), (3200, 1))
    grey[::40] -= 20
    out = io.BytesIO()
    Image.fromarray(grey).save(out, "PNG", compress_level=1)
    guess = guess_from_bed(out.getvalue(), points * 3.2, table, run.upstream["layout"].marks,
                           run.context)  # fmt: skip
    assert guess.is_blocked
    assert "LOK-151" in {f.code for f in guess.findings if f.severity is Severity.BLOCKS}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "no JSON list"),
        ("[]", "lists no point"),
        ("[3]", "entry 1"),
        ('[{"x_px": 1, "y_px": 2, "x_mm": 3}]', "y_mm"),
        ('[{"x_px": 1, "y_px": 2, "x_mm": "a", "y_mm": 3}]', "x_mm"),
    ],
)
def test_a_bad_list_of_points_is_refused_in_a_sentence(tmp_path, text, words):
    path = tmp_path / "points.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(UnreadableError, match=words):
        read_bed_points(path)


def test_files_of_a_job_are_looked_at_and_wrong_ones_refused(office, tmp_path):
    """The sheet was printed turned by half, which the picture tells before a mark is looked at."""
    run, store = office
    truth = truth_of(office, virtual.Throw(x_mm=90.0, y_mm=70.0, turn_rad=0.03), turned_quarters=2)
    picture, px, table = slanted(truth, run.context.table.bed)
    (tmp_path / "bed.png").write_bytes(picture)
    rows = [dict(zip(("x_px", "y_px", "x_mm", "y_mm"), (*p, *t), strict=True))
            for p, t in zip(px.tolist(), table.tolist(), strict=True)]  # fmt: skip
    points = tmp_path / "points.json"
    points.write_text(json.dumps(rows), encoding="utf-8")
    guess = look_at_bed(store.load_job(SMALL.job_id), store, tmp_path / "bed.png", points)
    assert np.hypot(*(guess.places_mm - truth.marks_table_mm).T).max() < 4.0
    swapped = [dict(rows[0], x_px=rows[1]["x_px"], y_px=rows[1]["y_px"]),
               dict(rows[1], x_px=rows[0]["x_px"], y_px=rows[0]["y_px"]), *rows[2:]]  # fmt: skip
    assert {f.code for f in guess.findings} == {"LOK-123"}
    points.write_text(json.dumps(swapped), encoding="utf-8")
    with pytest.raises(GeometryError):
        look_at_bed(store.load_job(SMALL.job_id), store, tmp_path / "bed.png", points)
    bare = make_drawn_job(DRAWN_ORDERS["plain"], FolderStore(tmp_path / "shop"))
    with pytest.raises(UsageError, match="no registration marks"):
        look_at_bed(bare, store, tmp_path / "bed.png", points)
