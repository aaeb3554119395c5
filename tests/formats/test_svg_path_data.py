"""Path data: the grammar of SVG 1.1 (second edition, 8.3.9), written as cases from its rules.

The rules of the grammar are quoted from memory. What follows a fault is given up, what stands
before it is kept (8.3.9 and appendix F.2, from memory).
"""

from __future__ import annotations

from math import atan2, cos, hypot, pi, radians, sin

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.svg_text import codes, path, read_svg, svg
from kerfwright.formats.svg.arcs import ellipse_of
from kerfwright.formats.svg.numbers import HugeNumberError, number_list
from kerfwright.formats.svg.path_data import parse_path

M, L, C, Q, A, Z = (lambda *v, k=k: (k, tuple(map(float, v))) for k in "MLCQAZ")

SOUND = {
    # svg-path: wsp* moveto-drawto-command-groups? wsp*
    "": [],
    " \t\r\n ": [],
    "M1 2": [M(1, 2)],
    "  M 1 2  ": [M(1, 2)],
    # moveto-argument-sequence: coordinate-pair comma-wsp? lineto-argument-sequence
    "M1 2 3 4 5 6": [M(1, 2), L(3, 4), L(5, 6)],
    "m1 2 3 4 5 6": [M(1, 2), L(4, 6), L(9, 12)],
    "M1 2m3 4 5 6": [M(1, 2), M(4, 6), L(9, 12)],
    "m1,2M3,4": [M(1, 2), M(3, 4)],
    # closepath returns to the start of the subpath
    "M1 2l3 4zl1 1": [M(1, 2), L(4, 6), Z(), L(2, 3)],
    "M1 2l3 4Zm1 1": [M(1, 2), L(4, 6), Z(), M(2, 3)],
    "M1 2z z": [M(1, 2), Z(), Z()],
    # lineto, horizontal, vertical, with implicit repeats
    "M1 2L3 4 5 6l1 1 1 1": [M(1, 2), L(3, 4), L(5, 6), L(6, 7), L(7, 8)],
    "M1 2H3 5h1 1": [M(1, 2), L(3, 2), L(5, 2), L(6, 2), L(7, 2)],
    "M1 2V3 5v1 1": [M(1, 2), L(1, 3), L(1, 5), L(1, 6), L(1, 7)],
    # curveto and smooth curveto
    "M1 1C2 2 3 3 4 4": [M(1, 1), C(2, 2, 3, 3, 4, 4)],
    "M1 1c1 1 2 2 3 3 1 1 2 2 3 3": [M(1, 1), C(2, 2, 3, 3, 4, 4), C(5, 5, 6, 6, 7, 7)],
    "M1 1C2 2 3 4 5 5S8 8 9 9": [M(1, 1), C(2, 2, 3, 4, 5, 5), C(7, 6, 8, 8, 9, 9)],
    "M1 1c1 1 2 3 4 4s3 3 4 4": [M(1, 1), C(2, 2, 3, 4, 5, 5), C(7, 6, 8, 8, 9, 9)],
    "M1 1S8 8 9 9": [M(1, 1), C(1, 1, 8, 8, 9, 9)],
    "M1 1Q2 3 5 5S8 8 9 9": [M(1, 1), Q(2, 3, 5, 5), C(5, 5, 8, 8, 9, 9)],
    # quadratic and smooth quadratic
    "M1 1Q2 3 5 5T9 9 10 10": [M(1, 1), Q(2, 3, 5, 5), Q(8, 7, 9, 9), Q(10, 11, 10, 10)],
    "M1 1q1 2 4 4t4 4": [M(1, 1), Q(2, 3, 5, 5), Q(8, 7, 9, 9)],
    "M1 1T9 9": [M(1, 1), Q(1, 1, 9, 9)],
    "M1 1C2 2 3 4 5 5T9 9": [M(1, 1), C(2, 2, 3, 4, 5, 5), Q(5, 5, 9, 9)],
    # elliptical arc: flags are one character and may touch what follows
    "M0 0A5 6 7 1 0 8 9": [M(0, 0), A(5, 6, 7, 1, 0, 8, 9)],
    "M0 0a5,6,7,1,0,8,9": [M(0, 0), A(5, 6, 7, 1, 0, 8, 9)],
    "M0 0a5 6 7 108 9": [M(0, 0), A(5, 6, 7, 1, 0, 8, 9)],
    "M0 0a5 6 7 1 08 9": [M(0, 0), A(5, 6, 7, 1, 0, 8, 9)],
    "M10-20A5.5.3-4 010-.1": [M(10, -20), A(5.5, 0.3, -4, 0, 1, 0, -0.1)],
    "M1 1a1 1 0 00.1.2 1 1 0 11 1 1": [
        M(1, 1), A(1, 1, 0, 0, 0, 1.1, 1.2), A(1, 1, 0, 1, 1, 2.1, 2.2),
    ],
    # numbers: signs, points and exponents part them as well as white space and commas do
    "M.5.5-.5-.5": [M(0.5, 0.5), L(-0.5, -0.5)],
    "M+1-2+3-4": [M(1, -2), L(3, -4)],
    "M1e2 1E-1 1.5e+1 -.5e1": [M(100, 0.1), L(15, -5)],
    "M1. 2.L3. 4.": [M(1, 2), L(3, 4)],
    "M1,2 ,3 , 4": [M(1, 2), L(3, 4)],
    "M0x1": [],
}  # fmt: skip
FAULTY = {
    "L1 2": ([], "begins with M"),
    "z": ([], "begins with M"),
    "x": ([], "command"),
    "M": ([], "number"),
    "M1": ([], "number"),
    "M0x1": ([], "number"),
    "M,1 2": ([], "number"),
    "M1 2 3": ([M(1, 2)], "number"),
    "M1 2,": ([M(1, 2)], "command"),
    "M1 2,,3 4": ([M(1, 2)], "command"),
    "M1 2L": ([M(1, 2)], "number"),
    "M1 2L3 4 5": ([M(1, 2), L(3, 4)], "number"),
    "M1 2L3 4,L5 6": ([M(1, 2), L(3, 4)], "command"),
    "M1 2L3 4x5 6": ([M(1, 2), L(3, 4)], "command"),
    "M1 2L3 4 NaN 5": ([M(1, 2), L(3, 4)], "command"),
    "M1 2L inf 5": ([M(1, 2)], "number"),
    "M1 2L3 4#5": ([M(1, 2), L(3, 4)], "command"),
    "M1 2z3 4": ([M(1, 2), Z()], "command"),
    "M1 2H": ([M(1, 2)], "number"),
    "M1 2C1 2 3 4 5": ([M(1, 2)], "number"),
    "M1 2A1 1 0 2 0 3 4": ([M(1, 2)], "flag"),
    "M1 2A1 1 0 -1 0 3 4": ([M(1, 2)], "flag"),
    "M1 2A1 1 0 0.5 0 3 4": ([M(1, 2)], "flag"),
    "M1 2A1 1 0 0 0 3 4 1 1 0 7": ([M(1, 2), A(1, 1, 0, 0, 0, 3, 4)], "flag"),
    "M1 2--3 4": ([M(1, 2)], "command"),
    "M1 2L1e 3": ([M(1, 2)], "number"),
}  # fmt: skip


@pytest.mark.parametrize("text", [t for t in SOUND if t not in FAULTY])
def test_sound(text):
    found = parse_path(text)
    assert [(k, pytest.approx(v)) for k, v in found.segments] == SOUND[text]
    assert found.fault == ""


@pytest.mark.parametrize("text", FAULTY)
def test_faulty_data_are_kept_up_to_the_fault(text):
    segments, words = FAULTY[text]
    found = parse_path(text)
    assert [(k, v) for k, v in found.segments] == segments
    assert words in found.fault
    assert "at character" in found.fault


@pytest.mark.parametrize("text", ["M1 1e400", "M1 1L9e30 1", "M1 1A1e99 1 0 0 0 2 2"])
def test_numbers_without_meaning_are_refused(text):
    with pytest.raises(HugeNumberError):
        parse_path(text)


@pytest.mark.parametrize(
    ("text", "numbers", "sound"),
    [
        ("", [], True),
        (" 1 2,3 , 4-5.5.5 ", [1, 2, 3, 4, -5.5, 0.5], True),
        ("1 2 x", [1, 2], False),
        ("1,,2", [1], False),
        ("1 2,", [1, 2], False),
    ],
)
def test_lists_of_numbers(text, numbers, sound):
    assert number_list(text) == (numbers, sound)


# ---------------------------------------------------------------- parse(write(path)) = path

numbers = st.floats(-1e6, 1e6, allow_nan=False).map(lambda v: v + 0.0)
pairs = st.tuples(numbers, numbers)
flags = st.sampled_from((0.0, 1.0))
drawn = st.one_of(
    pairs.map(lambda v: ("L", v)),
    st.tuples(*[numbers] * 6).map(lambda v: ("C", v)),
    st.tuples(*[numbers] * 4).map(lambda v: ("Q", v)),
    st.tuples(numbers, numbers, numbers, flags, flags, numbers, numbers).map(lambda v: ("A", v)),
    pairs.map(lambda v: ("M", v)),
    st.just(("Z", ())),
)
paths = st.tuples(pairs.map(lambda v: ("M", v)), st.lists(drawn, max_size=8)).map(
    lambda both: [both[0], *both[1]]
)


def write(segments, gap):
    """Write absolute segments; flags touch what follows, gaps vary."""
    words = []
    for kind, v in segments:
        texts = [repr(x) for x in v]
        if kind == "A":
            texts[3:6] = [f"{v[3]:.0f}{v[4]:.0f}{v[5]!r}"]
        words.append(kind + gap.join(texts))
    return "".join(words)


@given(paths, st.sampled_from((" ", ",", " , ", "\n\t")))
def test_what_was_written_is_read(segments, gap):
    found = parse_path(write(segments, gap))
    assert found.fault == ""
    assert found.segments == segments


@given(paths, st.data())
def test_data_cut_anywhere_keep_whole_segments(segments, data):
    text = write(segments, " ")
    cut = data.draw(st.integers(0, len(text)))
    kept = parse_path(text[:cut]).segments
    # The last number may be cut within itself: all but the last segment are those written.
    assert kept[:-1] == segments[: max(len(kept) - 1, 0)]


@given(paths)
def test_relative_data_are_the_same_path(segments):
    whole = [(k, tuple(round(x) for x in v)) for k, v in segments]
    at, start, words = (0, 0), (0, 0), []
    for kind, v in whole:
        shifts = [at[i % 2] for i in range(len(v))]
        if kind == "A":
            shifts = [0] * 5 + list(at)
        words.append(kind.lower() + " ".join(str(x - s) for x, s in zip(v, shifts, strict=True)))
        at = start if kind == "Z" else v[-2:]
        start = at if kind == "M" else start
    assert parse_path("".join(words)).segments == [(k, tuple(map(float, v))) for k, v in whole]


# ---------------------------------------------------------------- arcs (F.6.5, F.6.6)


def point(e, t):
    return tuple(c + u * cos(t) + v * sin(t) for c, u, v in zip(e.centre, e.u, e.v, strict=True))


@given(pairs, pairs, st.floats(1e-3, 1e6), st.floats(1e-3, 1e6), st.floats(-720, 720), flags, flags)
def test_arcs_join_their_ends_by_the_sweep_that_was_asked(a, b, rx, ry, turn, large, sweep):
    if hypot(a[0] - b[0], a[1] - b[1]) < 1e-3:
        return
    e = ellipse_of(a, b, radii=(rx, ry), turn_deg=turn, large=large > 0, sweep=sweep > 0)
    if e is None:
        return
    size = max(map(abs, (*a, *b, *e.u, *e.v, *e.centre)))
    assert point(e, e.start_rad) == pytest.approx(a, abs=1e-9 * size + 1e-6)
    assert point(e, e.start_rad + e.sweep_rad) == pytest.approx(b, abs=1e-9 * size + 1e-6)
    assert (e.sweep_rad > 0) == (sweep > 0)
    assert (abs(e.sweep_rad) > pi + 1e-9) <= (large > 0)
    assert abs(e.sweep_rad) <= 2 * pi
    assert hypot(*e.u) >= rx * (1 - 1e-12)
    assert hypot(*e.u) * ry == pytest.approx(hypot(*e.v) * rx)
    assert atan2(e.u[1], e.u[0]) % pi == pytest.approx(radians(turn) % pi, abs=1e-6) or (
        abs(atan2(e.u[1], e.u[0]) % pi - radians(turn) % pi) > pi - 1e-6
    )


def test_four_arcs_of_the_standard():
    """The picture of 8.3.8: both flags choose among the four arcs of two ellipses (from memory)."""
    middles = set()
    for large in (False, True):
        for sweep in (False, True):
            e = ellipse_of((0, 0), (6, 6), radii=(6, 6), turn_deg=0, large=large, sweep=sweep)
            middles.add(tuple(round(v, 6) for v in point(e, e.start_rad + e.sweep_rad / 2)))
    low, high = 6 - 6 / 2**0.5, 6 / 2**0.5
    wanted = {(low, high), (high, low), (-high, 6 + high), (6 + high, -high)}
    assert middles == {tuple(round(v, 6) for v in w) for w in wanted}


@pytest.mark.parametrize(
    ("data", "straight"),
    [
        ("M10 10A0 5 0 0 0 20 10", True),
        ("M10 10A5 0 0 0 0 20 10", True),
        ("M10 10A1e-40 5 0 0 0 20 10", True),
        ("M10 10A-5 -5 0 0 0 20 10", False),
    ],
)
def test_radii(data, straight):
    d = read_svg(svg(path(data)))
    assert (d.paths.bulges == 0.0).all() == straight
    assert d.paths.points[[0, -1]].tolist() == pytest.approx(np.array([[10, 70], [20, 70]]))


def test_radii_too_small_grow_until_they_reach():
    d = read_svg(svg(path("M10 10A1 1 0 0 0 20 10")))
    assert np.abs(d.paths.bulges).tolist() == pytest.approx([1.0, 0.0])
    assert d.paths.box_mm() == pytest.approx((10.0, 65.0, 20.0, 70.0))


def test_an_arc_to_where_it_begins_is_left_out():
    d = read_svg(svg(path("M10 10A5 5 0 1 1 10 10L20 10")))
    assert len(d.paths.points) == 2
    assert "SVG-130" not in codes(d)
