"""Texts: what is shown of any letters, and lines that fit."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from kerfwright.report.letters import Letters
from kerfwright.report.pen import text_width_mm
from kerfwright.report.text import wrap


@given(st.text(max_size=200))
def test_cleaned_text_can_be_printed_and_says_what_it_lost(text):
    letters = Letters()
    clean = letters.clean(text)
    assert clean.encode("cp1252").decode("cp1252") == clean
    assert clean.isprintable()
    assert letters.clean(clean) == clean
    is_same = " ".join(text.split()) == clean
    assert is_same == (letters.sentence() == "")


@given(st.text(alphabet=st.characters(codec="cp1252", exclude_categories=["Cc", "Cf"])))
def test_letters_of_the_fonts_are_kept(text):
    letters = Letters()
    assert letters.clean(text) == " ".join(text.split())
    assert letters.sentence() == ""


def test_near_letters_are_named():
    letters = Letters()
    assert letters.clean("\u0150\u2264\u05d0") == "O<=?"
    assert letters.sentence() == (
        "Letters these pages cannot show: U+0150 latin capital letter o with double acute as O; "
        "U+05D0 hebrew letter alef as ?; U+2264 less-than or equal to as <=."
    )


def test_many_strange_letters_are_counted():
    letters = Letters()
    letters.clean("".join(chr(0x4E00 + k) for k in range(30)))
    assert letters.sentence().endswith("and 18 more.")


words = st.text(alphabet="aiW .-", max_size=300).map(lambda t: " ".join(t.split()))


@given(words, st.floats(15.0, 80.0), st.integers(1, 12))
def test_lines_fit_and_nothing_is_lost_unsaid(text, width, most):
    lines = wrap(text, width, size_pt=8.0, most=most)
    assert 1 <= len(lines) <= most
    assert all(text_width_mm(line, size_pt=8.0) <= width + 1e-9 for line in lines)
    joined = "".join(lines).replace(" ", "")
    whole = text.replace(" ", "")
    if joined != whole:
        kept, _, left = joined.rpartition("...(+")
        assert whole.startswith(kept)
        assert len(kept) + int(left[:-1]) == len(whole)


def test_words_are_kept_whole_where_they_fit():
    assert wrap("alpha beta gamma", 18.0, size_pt=8.0) == ["alpha beta", "gamma"]
    assert wrap("", 18.0, size_pt=8.0) == [""]
