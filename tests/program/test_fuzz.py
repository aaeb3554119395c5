"""No text whatever does more than raise `ProgramSyntaxError`."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.errors import ProgramSyntaxError
from kerfwright.model.motion import EventCode, ToolMotion
from kerfwright.program import dialect_ids, load_dialect, read_program, write_program
from kerfwright.program.read.words import careful_words, split_words
from program.motions import Builder, random_motion, table_for

DIALECTS = [load_dialect(i) for i in dialect_ids()]
LETTERS = "GMXYZCIJKRFPSTNABDHLQO"
PARTS = ["G0", "G1", "G2", "G3", "G4", "G20", "G21", "G80", "G90", "G91", "G93", "G94", "G17"]
PARTS += ["M2", "M0", "M6", "M3", "M5", "M11", "M21", "T1", "%", "/", "(", ")", "\n", " ", ";"]

numbers = st.one_of(
    st.integers(-1000, 1000).map(str),
    st.floats(-1e7, 1e7).map(lambda v: f"{v:.4f}"),
    st.sampled_from(["", ".", "-", "1.2.3", "1e5", "0", "-0", ".5", "9" * 300, "0." + "0" * 300]),
)
words = st.one_of(st.sampled_from(PARTS), st.builds(str.__add__, st.sampled_from(LETTERS), numbers))
lines = st.lists(words, max_size=7).map(" ".join)
programs = st.lists(lines, max_size=12).map(lambda ls: "G21\nG0 X0 Y0 Z0 C0\n" + "\n".join(ls))


def read_or_refuse(text, dialect):
    try:
        motion = read_program(text, dialect)
    except ProgramSyntaxError as refused:
        error = refused
    else:
        assert isinstance(motion, ToolMotion)
        return motion
    assert 1 <= error.line <= text.count("\n") + text.count("\r") + 1
    assert error.code.startswith("PRG-1")
    assert error.message.isprintable()
    return None


@given(text=st.text(max_size=200), dialect=st.sampled_from(DIALECTS))
@settings(max_examples=150)
def test_any_text(text, dialect):
    read_or_refuse(text, dialect)


@given(text=st.binary(max_size=200), dialect=st.sampled_from(DIALECTS))
@settings(max_examples=60)
def test_any_bytes(text, dialect):
    read_or_refuse(text.decode("utf-8", "surrogateescape"), dialect)


@given(text=programs, end=st.sampled_from(["\nM2", "\nM30\n", "", "\n%"]))
@settings(max_examples=150)
def test_texts_that_look_like_programs(text, end):
    for dialect in (DIALECTS[1], DIALECTS[-1]):
        read_or_refuse(text + end, dialect)


def full_text() -> tuple[str, ...]:
    rng = np.random.default_rng(8)
    build = Builder()
    build.event(EventCode.TOOL, 1)
    build.event(EventCode.VACUUM, 2)
    build.rapid(1, 2, 0, 1)
    build.event(EventCode.OSCILLATION, 100.0)
    build.dwell(0.5)
    build.turn(1.0)
    build.line(1, 2, -3, 0.5)
    build.arc(5.0, 0.5, -2.0)
    short = [build.motion(), random_motion(rng, 20)]
    return tuple(write_program(m, table_for(d), d) for m in short for d in DIALECTS)


TEXTS = full_text()


@given(
    index=st.integers(0, len(TEXTS) - 1),
    at=st.floats(0.0, 1.0),
    width=st.integers(0, 6),
    instead=st.one_of(st.text(max_size=4), words),
)
@settings(max_examples=150)
def test_damaged_programs(index, at, width, instead):
    text = TEXTS[index]
    where = int(at * len(text))
    read_or_refuse(text[:where] + instead + text[where + width :], DIALECTS[index % len(DIALECTS)])


@given(index=st.integers(0, len(TEXTS) - 1), at=st.floats(0.0, 0.999))
def test_a_program_that_was_cut_off_is_noticed(index, at):
    """Whatever is missing at the end, the end is missing too."""
    text = TEXTS[index]
    cut = text[: int(at * (len(text) - 4))]
    assert read_or_refuse(cut, DIALECTS[index % len(DIALECTS)]) is None


def outcome(function, code):
    try:
        return function(code, 1)
    except ProgramSyntaxError as error:
        return error.code


@given(
    code=st.one_of(
        st.lists(words, min_size=1, max_size=6).map("".join),
        st.text("GXYZ0123456789.+-_EN \x0b\x1f\u0661\u00df", min_size=1, max_size=12),
    )
)
@settings(max_examples=150)
def test_the_quick_way_through_a_line_is_the_careful_one(code):
    code = "".join(code.split(" ")).replace("\n", "") or "G0"
    assert outcome(split_words, code) == outcome(careful_words, code)
