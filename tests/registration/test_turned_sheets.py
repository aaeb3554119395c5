"""Sheets printed or laid turned are walked all the same; a match of the wrong pose is doubted."""

from __future__ import annotations

import math

import numpy as np
import pytest

from kerfwright.errors import Severity
from kerfwright.errors.messages import sentence_of
from kerfwright.model.marks import MarkMatch, Photo
from kerfwright.registration import doubt_match, other_poses
from kerfwright.registration.doubting import is_doubtful
from registration.walks import EXPECTED, layout_of, mapped, perimeter_marks, thrown, walk

SIZE = (900.0, 600.0)
MIRRORED = 4
WORDS = {1: "a quarter turn counter-clockwise", 2: "half a turn", 3: "a quarter turn clockwise"}


def walked(seed, quarters, *, count=6, missing=0, **more):
    rng = np.random.default_rng((seed, quarters, count))
    marks = layout_of(perimeter_marks(rng, SIZE, count), SIZE)
    true = thrown(rng, SIZE, quarters)
    lost = rng.choice(np.arange(1, count), missing, replace=False)
    return walk(marks, true, missing=lost, sheet_mm=SIZE, **more)


@pytest.mark.parametrize("quarters", [1, 2, 3])
@pytest.mark.parametrize("count", [6, 8])
def test_a_turned_sheet_is_found_whichever_way_it_lies(quarters, count):
    for seed in range(6):
        done = walked(seed, quarters, count=count)
        assert done.right == count, f"seed {seed}: {done.right} of {count}"
        assert done.wrong == 0
        assert len(done.looks_mm) <= count + 12
        said = [f for f in done.match.findings if f.code == "LOK-123"]
        assert WORDS[quarters] in sentence_of(said[0])


def test_a_mirrored_sheet_is_found_and_said():
    for seed in range(6):
        done = walked(seed, MIRRORED)
        assert (done.right, done.wrong, done.match.mirrored) == (6, 0, True)
        assert "LOK-122" in {f.code for f in done.match.findings}


def test_an_ordinary_sheet_takes_no_picture_more_for_it():
    for seed in range(8):
        for missing in (0, 1):
            with_, without = (walked(seed, 0, missing=missing, others=o) for o in (True, False))
            assert with_.right == without.right == 6 - missing
            assert len(with_.looks_mm) <= len(without.looks_mm)
            assert len(with_.looks_mm) <= 8


def test_a_turned_sheet_that_sticks_out_of_the_bed_is_said_from_what_the_camera_reaches():
    """A long sheet turned by a quarter is longer than the bed is deep."""
    size, bed = (2440.0, 1220.0), (0.0, 0.0, 2600.0, 1600.0)
    for seed in range(3):
        rng = np.random.default_rng((seed, 77))
        marks = layout_of(perimeter_marks(rng, size, 12), size)
        true = thrown(rng, size, 1)
        out = np.flatnonzero(mapped(true, marks.xy)[:, 1] > bed[3])
        done = walk(marks, true, sheet_mm=size, reach_mm=bed, missing=out)
        assert done.wrong == 0
        assert 12 - len(out) - 1 <= done.right <= 12 - len(out) < 12, "one may lie at the very edge"
        assert (done.looks_mm <= bed[2:]).all()
        assert "LOK-123" in {f.code for f in done.match.findings}


def test_two_lost_marks_do_not_end_a_walk():
    assert [walked(seed, 0, missing=2).right for seed in range(8)] == [4] * 8


@pytest.mark.parametrize("way", range(4))
def test_other_poses_lie_where_the_sheet_should(way):
    """The box of a turned or mirrored sheet has the corner of the sheet."""
    box = (10.0, 20.0, 910.0, 620.0)
    c, s = math.cos(0.3), math.sin(0.3)
    expected = np.array(((c, -s, 55.0), (s, c, 70.0)))
    corners = np.array(((10.0, 20.0), (910.0, 20.0), (910.0, 620.0), (10.0, 620.0)))
    pose = other_poses(expected, box)[way]
    lying = np.linalg.inv(expected[:, :2]) @ (mapped(pose, corners) - expected[:, 2]).T
    np.testing.assert_allclose(lying.min(axis=1), (10.0, 20.0), atol=1e-9)
    size = (600.0, 900.0) if way in (0, 2) else (900.0, 600.0)
    np.testing.assert_allclose(np.ptp(lying, axis=1), size, atol=1e-9)
    turn = np.linalg.inv(expected[:, :2]) @ pose[:, :2]
    by_turns = np.linalg.matrix_power([[0, -1], [1, 0]], way + 1)
    np.testing.assert_allclose(turn, np.diag((-1, 1)) if way == 3 else by_turns, atol=1e-12)


def match_of(pairs, affine=EXPECTED):
    return MarkMatch(pairs=np.array(pairs).reshape(-1, 2), is_ambiguous=False, votes=len(pairs),
                     table_from_sheet=affine, rival_votes=0)  # fmt: skip


def test_a_match_is_doubted_when_as_many_marks_miss_as_were_found():
    two = match_of([(0, 0), (1, 1)])
    assert not is_doubtful(two, {0, 1, 2})
    assert is_doubtful(two, {0, 1, 2, 3})
    assert not is_doubtful(match_of([(0, 0), (1, 1), (2, 2)]), {0, 1, 2, 3, 4})


def test_pictures_without_the_marks_a_match_has_there_are_said():
    rng = np.random.default_rng(1)
    marks = layout_of(perimeter_marks(rng, SIZE, 6), SIZE)
    places = mapped(EXPECTED, marks.xy)
    shots = [Photo(image_sha="0", camera_xy_mm=p, px_per_mm=10.0, size_px=(400, 300), taken_at="")
             for p in places]  # fmt: skip
    two, all_six = match_of([(0, 0), (1, 1)]), match_of([(k, k) for k in range(6)])
    (said,) = doubt_match(two, marks, shots)
    assert (said.code, said.severity) == ("LOK-131", Severity.BLOCKS)
    assert "2 of 6 marks" in sentence_of(said)
    assert doubt_match(two, marks, shots[:3]) == ()
    assert doubt_match(all_six, marks, shots) == ()
    assert doubt_match(match_of([]), marks, shots) == ()
