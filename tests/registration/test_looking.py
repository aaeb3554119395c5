"""Pictures put together, where to look next, labels, and pictures that cannot be read."""

from __future__ import annotations

import contextlib
import io
import math
import warnings

import numpy as np
import pytest
import segno
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from kerfwright.errors import OutOfResourcesError, Severity, UnreadableError
from kerfwright.errors.messages import entry_of, sentence_of
from kerfwright.formats.sheet_label import SheetLabel, label_text
from kerfwright.model.marks import FoundMarks, MarkLayout, Photo
from kerfwright.model.prior import PrintPrior
from kerfwright.registration import (
    check_label,
    decode_photo,
    match_marks,
    merge_found,
    next_view,
    no_view_finding,
    read_labels,
)
from kerfwright.registration.looking_ahead import expected_places

PRIOR = PrintPrior()
VIEW = (160.0, 120.0)
XY = np.array(((20.0, 20.0), (75.0, 31.0), (900.0, 25.0), (880.0, 580.0), (450.0, 590.0),
               (18.0, 560.0)))  # fmt: skip


def layout(xy=XY):
    return MarkLayout(sheet="s", xy=xy, diameter_mm=6.0, quiet_mm=3.0, id="m", ambiguity=2,
                      losses_tolerated=len(xy) - 3, worst_sd_mm=0.1)  # fmt: skip


def photo(x, y, turn=0.0):
    return Photo(image_sha="0", camera_xy_mm=np.array((x, y)), px_per_mm=10.0, turn_rad=turn,
                 size_px=(1600, 1200), taken_at="2026-01-01T00:00:00Z")  # fmt: skip


def found_at(shot, xy_mm, sd_px=0.05):
    xy = shot.image_from_table(np.atleast_2d(np.asarray(xy_mm, float)))
    n = len(xy)
    return FoundMarks(xy=xy, cov=np.tile(np.eye(2) * sd_px**2, (n, 1, 1)), score=np.ones(n),
                      diameter_px=np.full(n, 60.0))  # fmt: skip


def rigid(turn, x, y):
    c, s = math.cos(turn), math.sin(turn)
    return np.array(((c, -s, x), (s, c, y)))


def mapped(affine, xy):
    return xy @ affine[:, :2].T + affine[:, 2]


def assert_finding(finding, code, severity):
    assert finding.code == code
    assert finding.severity is severity
    assert entry_of(code).severity is severity
    assert sentence_of(finding)


@settings(max_examples=30, deadline=None)
@given(turn=st.floats(-3.0, 3.0), x=st.floats(0, 500), y=st.floats(0, 500))
def test_a_mark_lies_on_the_table_wherever_the_camera_is(turn, x, y):
    places = np.array(((x, y), (x + 30.0, y - 20.0)))
    shot = photo(x + 10.0, y - 5.0, turn)
    seen = merge_found([shot], [found_at(shot, places)], repeat_sd_mm=0.01)
    np.testing.assert_allclose(seen.xy_mm, places, atol=1e-9)
    assert (np.linalg.eigvalsh(seen.cov_mm2) > 0.01**2).all()


def test_a_mark_in_two_pictures_is_one_and_the_central_look_counts_most():
    near, far = photo(100.0, 100.0), photo(160.0, 100.0)
    founds = [found_at(near, (100.0, 100.0)), found_at(far, (100.2, 100.0))]
    seen = merge_found([near, far], founds, repeat_sd_mm=0.01)
    assert len(seen.xy_mm) == 1
    assert seen.photo.tolist() == [0]
    assert seen.xy_mm[0, 0] == pytest.approx(100.0, abs=0.01)
    assert seen.findings == ()


def test_pictures_that_contradict_each_other_are_said():
    one, two = photo(100.0, 100.0), photo(101.0, 100.0)
    founds = [found_at(one, (100.0, 100.0)), found_at(two, (100.9, 100.0))]
    seen = merge_found([one, two], founds, repeat_sd_mm=0.01)
    assert_finding(seen.findings[0], "LOK-130", Severity.WARN)
    assert seen.findings[0].measured == pytest.approx(0.9, abs=1e-6)
    assert seen.findings[0].measured > seen.findings[0].limit


def test_marks_of_one_picture_stay_apart_and_no_picture_gives_none():
    shot = photo(0.0, 0.0)
    seen = merge_found([shot], [found_at(shot, ((1.0, 0.0), (2.0, 0.0)))], repeat_sd_mm=0.01)
    assert len(seen.xy_mm) == 2
    assert len(merge_found([], [], repeat_sd_mm=0.01).xy_mm) == 0


def look(affine, visited, *, throw=0.06, field=VIEW, marks=None, camera=None):
    marks = layout() if marks is None else marks
    shot = photo(*mapped(affine, marks.xy[:1])[0])
    seen = merge_found([shot], [found_at(shot, mapped(affine, marks.xy[visited]))],
                       repeat_sd_mm=0.01)  # fmt: skip
    match = match_marks(seen.xy_mm, marks.xy, tolerance_mm=4.0, turn_rad=0.0, turn_limit_rad=0.1)
    view = next_view(seen, marks, PRIOR, match=match if len(match.pairs) > 1 else None,
                     expected=rigid(0.0, 50.0, 60.0), throw_rad=throw, field_of_view_mm=field,
                     camera_xy_mm=shot.camera_xy_mm if camera is None else camera,
                     visited=visited)  # fmt: skip
    return view, seen


@settings(max_examples=30, deadline=None)
@given(turn=st.floats(-0.06, 0.06))
def test_from_one_mark_the_neighbour_is_surely_in_the_picture(turn):
    affine = rigid(turn, 55.0, 52.0)
    view, _ = look(affine, [0])
    assert view.mark == 1
    away = np.abs(mapped(affine, XY[1:2])[0] - view.camera_xy_mm)
    assert away.max() <= view.search_mm
    assert (away + 3.0 < np.array(VIEW) / 2.0).all()


def test_from_one_mark_without_a_neighbour_in_reach_a_person_is_asked():
    alone = layout(np.delete(XY, 1, axis=0))
    view, seen = look(rigid(0.0, 50.0, 60.0), [0], throw=0.2, marks=alone)
    assert view is None
    assert_finding(no_view_finding(seen), "LOK-128", Severity.BLOCKS)
    empty = merge_found([], [], repeat_sd_mm=0.01)
    assert_finding(no_view_finding(empty), "LOK-129", Severity.BLOCKS)
    view = next_view(empty, layout(), PRIOR, match=None, expected=rigid(0, 0, 0), throw_rad=0.05,
                     field_of_view_mm=VIEW, camera_xy_mm=np.zeros(2), visited=())  # fmt: skip
    assert view is None


LADDER = np.array(((20.0, 20.0), (20.0, 80.0), (330.0, 20.0), (345.0, 95.0), (660.0, 30.0),
                   (595.0, 30.0)))  # fmt: skip


def test_a_mark_taken_for_the_wrong_one_is_taken_for_another_after_two_looks():
    """The sheet lies 300 mm from where it should, so that mark 2 passes for mark 4 at first."""
    marks, affine = layout(LADDER), rigid(0.02, 350.0, 60.0)
    true = mapped(affine, LADDER)
    seen = merge_found([photo(*true[2])], [found_at(photo(*true[2]), true[2:3])],
                       repeat_sd_mm=0.01)  # fmt: skip
    looked = [true[2]]
    for _ in range(12):
        view = next_view(seen, marks, PRIOR, match=None, expected=rigid(0.0, 50.0, 60.0),
                         throw_rad=0.06, field_of_view_mm=VIEW, camera_xy_mm=looked[-1],
                         visited=(), looked_xy_mm=np.array(looked))  # fmt: skip
        assert view is not None
        looked.append(view.camera_xy_mm)
        off = np.abs(true - view.camera_xy_mm)
        if (off[[0, 1, 3, 4, 5]] + 3.0 < np.array(VIEW) / 2.0).all(axis=1).any():
            break
    else:
        pytest.fail("no second mark came into view")
    assert len(looked) > 2, "the first guess was wrong"
    gaps = np.hypot(*(np.array(looked)[:, None] - np.array(looked)[None]).transpose(2, 0, 1))
    assert gaps[~np.eye(len(looked), dtype=bool)].min() > 20.0, "no place is looked at twice"


def test_the_camera_is_not_sent_where_it_cannot_go():
    marks, affine = layout(), rigid(0.0, 50.0, 60.0)
    true = mapped(affine, XY)
    shot = photo(*true[0])
    seen = merge_found([shot], [found_at(shot, true[:1])], repeat_sd_mm=0.01)
    more = {"match": None, "expected": affine, "throw_rad": 0.06, "field_of_view_mm": VIEW,
            "camera_xy_mm": true[0], "visited": ()}  # fmt: skip
    assert next_view(seen, marks, PRIOR, **more) is not None
    assert next_view(seen, marks, PRIOR, reach_mm=(60.0, 70.0, 80.0, 90.0), **more) is None
    two = merge_found([shot], [found_at(shot, true[:2])], repeat_sd_mm=0.01)
    more["match"] = match_marks(two.xy_mm, XY, tolerance_mm=4.0, turn_rad=0.0)
    view = next_view(two, marks, PRIOR, reach_mm=(0.0, 0.0, 600.0, 700.0), **more)
    assert view.camera_xy_mm[0] <= 600.0
    assert next_view(two, marks, PRIOR, reach_mm=(0.0, 0.0, 10.0, 10.0), **more) is None


@settings(max_examples=30, deadline=None)
@given(turn=st.floats(-0.06, 0.06), seed=st.integers(0, 1000))
def test_a_walk_visits_every_mark_and_each_lies_in_its_window(turn, seed):
    rng = np.random.default_rng(seed)
    stretch = np.eye(2) + np.diag(rng.normal(0, PRIOR.growth_sd / 2, 2))
    affine = rigid(turn, 55.0, 52.0)
    affine[:, :2] = affine[:, :2] @ stretch
    visited, camera = [0], mapped(affine, XY[:1])[0]
    for _ in range(len(XY) - 1):
        view, _ = look(affine, visited, camera=camera)
        assert view.mark not in visited
        away = mapped(affine, XY[view.mark : view.mark + 1])[0] - view.camera_xy_mm
        assert np.hypot(*away) < 1.5 * view.search_mm
        visited.append(view.mark)
        camera = view.camera_xy_mm
    assert look(affine, visited)[0] is None


def test_windows_hold_999_of_1000():
    rng = np.random.default_rng(4)
    inside = []
    for _ in range(400):
        g, k = rng.normal(0, PRIOR.growth_sd, 2), rng.normal(0, PRIOR.skew_sd_rad)
        true = rigid(rng.uniform(-0.06, 0.06), 20.0, 30.0)
        true[:, :2] = true[:, :2] @ np.array(((1.0 + g[0], k), (0.0, 1.0 + g[1])))
        known = rng.choice(len(XY), 2, replace=False)
        cov = np.tile(np.eye(2) * 0.01**2, (2, 1, 1))
        seen = mapped(true, XY[known]) + rng.normal(0, PRIOR.mark_sd_mm, (2, 2))
        match = match_marks(seen, XY[known], tolerance_mm=6.0, turn_rad=0.0, turn_limit_rad=0.2)
        ahead = expected_places(XY, XY[known], seen[match.pairs[:, 0]], cov,
                                match.table_from_sheet, PRIOR)  # fmt: skip
        off = np.abs(ahead.xy_mm - mapped(true, XY))
        inside.append(off <= ahead.search_mm[:, None])
    assert np.mean(inside) > 0.99


def qr_image(text, scale=6):
    buffer = io.BytesIO()
    segno.make(text, error="q", micro=False).save(buffer, kind="png", scale=scale, border=4)
    return decode_photo(buffer.getvalue())


LABEL = SheetLabel(job="j7", sheet="s1", serial=3, side="front", marks="m2")
WANTED = {"job": "j7", "sheet": "s1", "marks": "m2"}


@pytest.mark.reference("ISO/IEC 18004 by two open libraries: drawn by segno, read by zxing-cpp")
@pytest.mark.parametrize("quarter", range(4))
def test_a_label_is_read_however_it_lies(quarter):
    code = np.rot90(qr_image(label_text(LABEL)), quarter)
    page = np.full((500, 600), 200, np.uint8)
    page[40 : 40 + code.shape[0], 50 : 50 + code.shape[1]] = code
    assert read_labels(page) == (label_text(LABEL),)
    assert read_labels(page.astype(np.uint16) * 257) == (label_text(LABEL),)
    assert check_label(read_labels(page), **WANTED) == ()


def test_no_label_and_foreign_codes_are_said():
    assert read_labels(np.full((100, 100), 99, np.uint8)) == ()
    (nothing,) = check_label((), **WANTED)
    assert_finding(nothing, "LOK-140", Severity.WARN)
    foreign, nothing = check_label(("https://example.org/x",), **WANTED)
    assert_finding(foreign, "LOK-141", Severity.NOTE)
    assert nothing.code == "LOK-140"


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({"job": "j8"}, "LOK-142"),
        ({"sheet": "s2"}, "LOK-142"),
        ({"marks": "m3"}, "LOK-143"),
        ({"side": "back"}, "LOK-144"),
    ],
    ids=("job", "sheet", "marks", "side"),
)
def test_another_orders_sheet_or_the_wrong_side_is_said(more, code):
    (said,) = check_label((label_text(LABEL),), **WANTED | more)
    assert_finding(said, code, Severity.BLOCKS)


def saved(array, kind="PNG", **more):
    buffer = io.BytesIO()
    Image.fromarray(array).save(buffer, format=kind, **more)
    return buffer.getvalue()


def test_pictures_of_each_kind_come_back():
    rng = np.random.default_rng(1)
    grey = rng.integers(0, 256, (40, 60), np.uint8)
    deep = rng.integers(0, 65536, (40, 60)).astype(np.uint16)
    for kind in ("PNG", "TIFF"):
        np.testing.assert_array_equal(decode_photo(saved(grey, kind)), grey)
        np.testing.assert_array_equal(decode_photo(saved(deep, kind)), deep)
    smooth = np.tile(np.linspace(0, 255, 60).astype(np.uint8), (40, 1))
    assert np.abs(decode_photo(saved(smooth, "JPEG", quality=95)).astype(int) - smooth).max() < 12
    colour = np.repeat(grey[:, :, None], 3, axis=2)
    np.testing.assert_array_equal(decode_photo(saved(colour)), grey)


def test_too_many_pixels_are_refused_before_they_are_decoded():
    huge = io.BytesIO()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        Image.new("1", (16000, 12500)).save(huge, format="PNG")
    assert len(huge.getvalue()) < 100_000
    with pytest.raises(OutOfResourcesError, match="80 million"):
        decode_photo(huge.getvalue(), name="big")
    with pytest.raises(OutOfResourcesError, match="9000 x 9000"):
        decode_photo(saved(np.zeros((9000, 9000), np.uint8)), name="big")


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "TIFF"])
def test_bytes_that_end_early_or_are_wrong_end_in_one_sentence(kind):
    rng = np.random.default_rng(2)
    data = saved(rng.integers(0, 256, (64, 64), np.uint8), kind)
    for cut in (0, 3, 20, len(data) // 2, len(data) - len(data) // 8):
        with pytest.raises(UnreadableError, match=r"shot\.x"):
            decode_photo(data[:cut], name="shot.x")
    for _ in range(150):
        bad = bytearray(data)
        for place in rng.integers(0, len(data), 6):
            bad[place] = rng.integers(0, 256)
        with contextlib.suppress(UnreadableError, OutOfResourcesError):
            image = decode_photo(bytes(bad), name="shot.x")
            assert image.ndim == 2
            assert image.dtype in (np.uint8, np.uint16)
