"""The label of a sheet: text and back, damage, foreign text, an independent decoder."""

from __future__ import annotations

import string
import zlib

import numpy as np
import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st

from kerfwright import formats
from kerfwright.errors import ModelError, UnreadableError, UsageError
from kerfwright.formats.sheet_label import MOST_CHARACTERS

LETTERS = string.ascii_letters + string.digits
NAMES = st.from_regex(r"\A[A-Za-z0-9][A-Za-z0-9_-]{0,11}\Z")
LABELS = st.builds(
    formats.SheetLabel,
    job=NAMES,
    sheet=NAMES,
    serial=st.integers(0, 999_999),
    side=st.sampled_from(["front", "back"]),
    marks=NAMES,
)
LABEL = formats.SheetLabel(job="order-7", sheet="s1", serial=3, side="back", marks="m4")


def plain(label):
    return (label.job, label.sheet, label.serial, label.side, label.marks)


@given(LABELS)
def test_what_is_written_is_read(label):
    text = formats.label_text(label)
    assert text.isascii()
    assert plain(formats.read_label(text)) == plain(label)


@given(LABELS, st.data())
def test_one_changed_character_is_never_taken_for_a_label(label, data):
    # CRC-32 finds every change of a single byte, so this holds for all, not for most.
    text = formats.label_text(label)
    at = data.draw(st.integers(0, len(text) - 1))
    other = data.draw(st.sampled_from(string.printable).filter(lambda c: c != text[at]))
    with pytest.raises(UnreadableError):
        formats.read_label(text[:at] + other + text[at + 1 :])


@given(st.text(max_size=120))
def test_foreign_text_is_refused_in_one_line(text):
    with pytest.raises(UnreadableError) as refused:
        formats.read_label(text)
    assert "\n" not in str(refused.value)


def signed(body):
    return f"{body};c={zlib.crc32(body.encode()):08x}"


@pytest.mark.parametrize(
    "body",
    [
        "kw=1;j=../../etc;s=s1;n=1;f=f;m=m1",
        "kw=1;j=a..b;s=s1;n=1;f=f;m=m1",
        "kw=1;j=http://x;s=s1;n=1;f=f;m=m1",
        "kw=1;j=a;s=C:/x;n=1;f=f;m=m1",
        "kw=1;j=a;s=.hidden;n=1;f=f;m=m1",
        "kw=1;j=a;s=b;n=1;f=f;m=ö",
        "kw=1;j=a;s=b;n=1234567;f=f;m=c",
        "kw=1;j=a;s=b;n=-1;f=f;m=c",
        "kw=1;j=a;s=b;n=1;f=x;m=c",
        "kw=2;j=a;s=b;n=1;f=f;m=c",
    ],
)
def test_a_right_checksum_does_not_make_a_label(body):
    with pytest.raises(UnreadableError):
        formats.read_label(signed(body))


def test_damage_and_foreign_version_are_told_apart():
    text = formats.label_text(LABEL)
    with pytest.raises(UnreadableError, match="damaged"):
        formats.read_label(text.replace("order-7", "order-8"))
    with pytest.raises(UnreadableError, match="version 2"):
        formats.read_label(signed("kw=2;j=a;s=b;n=1;f=f;m=c"))


@pytest.mark.parametrize(
    "changed",
    [
        {"job": ""},
        {"job": "a/b"},
        {"job": "a\n"},
        {"job": "x" * 65},
        {"sheet": "a;b"},
        {"marks": "a=b"},
        {"serial": -1},
        {"serial": 1_000_000},
        {"side": "top"},
    ],
)
def test_a_label_holds_only_what_can_be_read_back(changed):
    values = {"job": "a", "sheet": "b", "serial": 1, "side": "front", "marks": "c"} | changed
    with pytest.raises(ModelError):
        formats.SheetLabel(**values)


def test_a_label_too_long_for_its_code_is_refused_with_how_much():
    label = formats.SheetLabel(job="x" * 50, sheet="s1", serial=1, side="front", marks="m")
    with pytest.raises(UsageError, match="shorten the ids of job, sheet or marks by 11"):
        formats.label_text(label)


def test_the_longest_text_makes_a_code_of_version_6():
    # ISO/IEC 18004, capacity of version 6 at level Q in bytes: 74 (figure from memory).
    assert formats.label_modules("x" * MOST_CHARACTERS).shape == (41, 41)
    with pytest.raises(UsageError):
        formats.label_modules("x" * (MOST_CHARACTERS + 1))
    with pytest.raises(UsageError):
        formats.label_modules("ö")


@given(LABELS)
def test_an_independent_decoder_reads_the_modules(label):
    text = formats.label_text(label)
    modules = formats.label_modules(text)
    assert modules.dtype == np.uint8
    assert modules.shape[0] <= 41
    picture = np.kron(255 - 255 * np.pad(modules, 4), np.ones((4, 4))).astype(np.uint8)
    (found,) = zxingcpp.read_barcodes(picture)
    assert found.text == text
    assert found.ec_level == "Q"
