"""The unit question: what the header says is believed only when nothing speaks against it."""

from __future__ import annotations

import ezdxf
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwright.errors import Severity, UsageError
from kerfwright.errors.messages import cure_of, sentence_of
from kerfwright.formats.unit_question import HeaderUnits, answer_units
from kerfwright.units import DRAWING_UNITS_MM

WORDS = st.sampled_from(list(DRAWING_UNITS_MM))
HEADERS = st.builds(
    HeaderUnits,
    insunits=st.one_of(st.none(), st.integers(-3, 30)),
    measurement=st.one_of(st.none(), st.integers(0, 1)),
    lunits=st.one_of(st.none(), st.integers(1, 5)),
)
SIZES = st.floats(0.0, 1e9)


def answer(size, units=None, reach=None, **header):
    return answer_units(
        HeaderUnits(**header), size=size, reach=reach or size, units=units, limit_mm=1e5
    )


@pytest.mark.parametrize(
    ("header", "size", "unit"),
    [
        ({"insunits": 4, "measurement": 1}, 500.0, "mm"),
        ({"insunits": 4}, 500.0, "mm"),
        ({"insunits": 1, "measurement": 0}, 24.0, "in"),
        ({"insunits": 1, "measurement": 0, "lunits": 4}, 24.0, "in"),
        ({"insunits": 6, "measurement": 1}, 2.4, "m"),
        ({"insunits": 5, "measurement": 1}, 120.0, "cm"),
        ({"insunits": 2, "measurement": 0}, 8.0, "ft"),
    ],
)
def test_a_header_without_doubt_is_believed(header, size, unit):
    got = answer(size, **header)
    assert (got.unit, got.is_certain, got.doubt) == (unit, True, "")


@pytest.mark.parametrize(
    ("header", "size", "unit", "doubt"),
    [
        ({}, 500.0, "mm", "names no unit"),
        ({"insunits": 0, "measurement": 1}, 500.0, "mm", "names no unit"),
        ({"insunits": 1, "measurement": 1}, 24.0, "in", "in and metric at once"),
        ({"insunits": 4, "measurement": 0}, 500.0, "mm", "mm and imperial at once"),
        ({"insunits": 4, "measurement": 1, "lunits": 4}, 500.0, "mm", "shows feet and inches"),
        ({"insunits": 6, "measurement": 1}, 500.0, "mm", "which would make the drawing 500000 mm"),
        ({"insunits": 6, "measurement": 1}, 50.0, "mm", "which would make the drawing 50000 mm"),
        ({"insunits": 13, "measurement": 1}, 500.0, "mm", "which would make the drawing 0.5 mm"),
        ({"insunits": 3, "measurement": 0}, 500.0, "mm", "the header says miles"),
    ],
)
def test_a_doubtful_header_is_not(header, size, unit, doubt):
    got = answer(size, **header)
    assert (got.unit, got.is_certain) == (unit, False)
    assert doubt in got.doubt


def test_a_drawing_too_far_out_for_millimetres_is_read_in_what_fits():
    assert answer(3e7).unit == "um"
    assert answer(1e12).unit == "mm", "nothing fits: refused later, by its coordinates"


def test_a_certain_unit_is_kept_even_where_its_coordinates_will_be_refused():
    got = answer(500.0, reach=1e7, insunits=4, measurement=1)
    assert (got.unit, got.is_certain) == ("mm", True)


@given(HEADERS, SIZES, WORDS)
def test_a_person_is_always_believed(header, size, word):
    got = answer_units(header, size=size, reach=size, units=word, limit_mm=1e5)
    assert (got.unit, got.is_certain) == (word, True)
    assert got.contradicted != word


@given(HEADERS, SIZES)
def test_certain_means_the_header_named_the_unit_and_the_size_is_usual(header, size):
    got = answer_units(header, size=size, reach=size, units=None, limit_mm=1e5)
    assert got.is_certain == (not got.doubt)
    if got.is_certain:
        assert got.unit in got.evidence
        assert 2.0 <= size * DRAWING_UNITS_MM[got.unit] <= 20_000.0
        assert header.measurement in (None, 0 if got.unit in ("in", "ft") else 1)


def test_an_unknown_word_is_refused():
    with pytest.raises(UsageError, match=r"'inch' is no unit of drawings; give one of um, mm"):
        answer(1.0, units="inch")


@pytest.mark.parametrize(("code", "word"), [(1, "in"), (2, "ft"), (4, "mm"), (5, "cm"), (6, "m")])
def test_codes_are_those_of_ezdxf(code, word):
    """Reference: `ezdxf.units` (MIT), its names and factors for the same codes."""
    from ezdxf import units

    from kerfwright.formats.unit_question import OTHER_CODES, UNIT_OF_CODE

    assert UNIT_OF_CODE[code] == word
    assert units.conversion_factor(code, 4) == pytest.approx(DRAWING_UNITS_MM[word], rel=1e-9)
    assert not UNIT_OF_CODE.keys() & OTHER_CODES.keys()


def test_the_finding_lists_sizes_and_blocks(read_here):
    document = ezdxf.new("R2010", units=6)
    document.modelspace().add_lwpolyline([(0, 0), (500, 0), (500, 300), (0, 300)], close=True)
    drawing = read_here(document, units=None)
    assert (drawing.unit, drawing.unit_is_certain) == ("mm", False)
    (finding,) = [f for f in drawing.findings if f.code == "DXF-101"]
    assert finding.severity is Severity.BLOCKS
    sentence = sentence_of(finding)
    for words in ("500 x 300 mm if in mm", "12700 x 7620 mm if in in", "5000 x 3000 mm if in cm"):
        assert words in sentence
    assert "if in m," not in sentence, "500 m cannot be read at all"
    assert "read in mm for now" in cure_of(finding)
    sizes = {c.unit: (c.width_mm, c.height_mm) for c in drawing.unit_candidates}
    assert sizes["mm"] == pytest.approx((500.0, 300.0))
    assert sizes["in"] == pytest.approx((12_700.0, 7_620.0))
    assert "m" not in sizes


def test_each_candidate_is_what_reading_in_that_unit_gives(read_here):
    document = ezdxf.new("R2010", units=0)
    document.modelspace().add_circle((10, 20), 7)
    for candidate in read_here(document, units=None).unit_candidates:
        x0, y0, x1, y1 = read_here(document, units=candidate.unit).paths.box_mm()
        assert (x1 - x0, y1 - y0) == pytest.approx((candidate.width_mm, candidate.height_mm))


def test_a_contradicted_header_is_said(read_here):
    document = ezdxf.new("R2010", units=1)
    document.modelspace().add_circle((10, 20), 7)
    drawing = read_here(document, units="mm")
    assert drawing.unit_is_certain
    assert drawing.unit_candidates == ()
    assert [f.code for f in drawing.findings] == ["DXF-102"]
    assert "read in mm as told, though the header says in" in sentence_of(drawing.findings[0])
