"""Arrays of records are locked copies, and a digest is equal exactly when the content is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass, replace
from enum import Enum
from typing import Any, Literal, get_args, get_origin, get_type_hints

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.errors import ModelError
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import Record, canonical_pieces, digest_of
from kerfwright.model.fit import SheetFit
from kerfwright.model.marks import MarkLayout
from kerfwright.model.material import Range
from kerfwright.model.motion import Event, EventCode
from kerfwright.model.operation import Operation, Process, Tolerance
from kerfwright.model.routing import Routing, Tabs
from kerfwright.model.run import StageResult, StageState
from kerfwright.model.sheet import Layout
from kerfwright.model.table import LoadPose, Table
from kerfwright.model.verdict import PlacedLines
from model.records import records
from model.samples import ART, FINDING, KISS, SAMPLES, SETUP, SHA, TABLE
from model.walk import array_fields, differences

KINDS = list(SAMPLES)
ARRAYS = [(kind, name) for kind in KINDS for name in array_fields(kind)]
IDS = [f"{k.__name__}-{n}" for k, n in ARRAYS]


def content(value: object) -> bytes:
    return b"".join(canonical_pieces(value))


@pytest.mark.parametrize(("kind", "name"), ARRAYS, ids=IDS)
def test_arrays_cannot_be_written(kind, name):
    array = getattr(SAMPLES[kind], name)
    assert not array.flags.writeable
    assert array.flags.c_contiguous
    with pytest.raises(ValueError, match="read-only"):
        array[...] = 0


@pytest.mark.parametrize(("kind", "name"), ARRAYS, ids=IDS)
def test_the_callers_array_is_neither_locked_nor_kept(kind, name):
    sample = SAMPLES[kind]
    before = getattr(sample, name)
    spread = np.zeros((2 * len(before), *before.shape[1:]), before.dtype)
    spread[::2] = before
    padded = np.concatenate((before, before))
    for mine in (np.array(before), spread[::2], padded[: len(before)], np.array(before, order="F")):
        record = replace(sample, **{name: mine})
        kept = getattr(record, name).copy()
        assert np.array_equal(kept, before, equal_nan=kept.dtype.kind == "f")
        assert not np.shares_memory(getattr(record, name), mine)
        assert mine.flags.writeable
        mine[...] = 1
        assert getattr(record, name).tobytes() == kept.tobytes()


@pytest.mark.parametrize("kind", KINDS, ids=lambda k: k.__name__)
def test_a_field_cannot_be_set(kind):
    record = SAMPLES[kind]
    for field in fields(kind):
        with pytest.raises((AttributeError, TypeError)):
            setattr(record, field.name, None)
    with pytest.raises((AttributeError, TypeError)):
        record.surprise = 1


@pytest.mark.parametrize("kind", KINDS, ids=lambda k: k.__name__)
@settings(max_examples=5)
@given(data=st.data())
def test_equal_content_has_an_equal_digest(kind, data):
    record = data.draw(records(kind))
    twin = rebuilt(record)
    assert differences(record, twin) == []
    assert digest_of(twin) == digest_of(record)
    if isinstance(record, Record):
        assert record.digest == digest_of(record)


def rebuilt(value: Any) -> Any:
    """The same content from new objects, mappings filled in the opposite order."""
    if isinstance(value, np.ndarray):
        return np.array(value)
    if isinstance(value, Mapping):
        return {k: rebuilt(v) for k, v in reversed(value.items())}
    if isinstance(value, tuple):
        return tuple(rebuilt(v) for v in value)
    if is_dataclass(value):
        return type(value)(**{f.name: rebuilt(getattr(value, f.name)) for f in fields(value)})
    return value


@pytest.mark.parametrize("kind", KINDS, ids=lambda k: k.__name__)
@settings(max_examples=5)
@given(data=st.data())
def test_a_field_of_another_record_changes_the_digest(kind, data):
    record, other = data.draw(records(kind)), data.draw(records(kind))
    for field in fields(kind):
        value = getattr(other, field.name)
        try:
            mixed = replace(record, **{field.name: value})
        except ModelError:
            continue
        same = content(value) == content(getattr(record, field.name))
        assert (digest_of(mixed) == digest_of(record)) == same


FIXED = {"schema_version", "kind"}  # a document has one form, a tool or mark one kind
# How many marks may be lost follows from count and ambiguity; surfaces are named by few words.
TIED = {
    (MarkLayout, "ambiguity"),
    (MarkLayout, "losses_tolerated"),
    (Table, "other_surfaces"),
}
FIELDS = [
    (kind, f.name)
    for kind in KINDS
    for f in fields(kind)
    if f.name not in FIXED and (kind, f.name) not in TIED
]
NONE_BECOMES = {
    "art": ART,
    "feed_mm_s": 5.0,
    "c_limits_rad": (-1.0, 1.0),
    "routing": SAMPLES[Routing],
    "tabs": SAMPLES[Tabs],
}
BASES = {
    (Operation, "process"): replace(KISS, depth_from="bottom", depth_mm=0.5),
    (Operation, "routing"): replace(
        KISS, process=Process.ROUTING, depth_from="bottom", depth_mm=0.5, routing=SAMPLES[Routing]
    ),
    (SheetFit, "used"): replace(SAMPLES[SheetFit], used=[True, True, False, False]),
    (PlacedLines, "fidelity"): SAMPLES[PlacedLines],
}
"""Other samples where the usual one allows no other value of a field."""


@pytest.mark.parametrize(("kind", "name"), FIELDS, ids=[f"{k.__name__}-{n}" for k, n in FIELDS])
def test_every_single_field_counts(kind, name):
    record = BASES.get((kind, name), SAMPLES[kind])
    hint = get_type_hints(kind)[name]
    tried = 0
    for value in alternatives(getattr(record, name), hint, name):
        try:
            other = replace(record, **{name: value})
        except ModelError:
            continue
        if content(value) == content(getattr(record, name)):  # half of zero is zero
            continue
        tried += 1
        assert digest_of(other) != digest_of(record)
    assert tried, "no other value of this field is valid; add one to NONE_BECOMES"


def alternatives(value: Any, hint: Any, name: str) -> Iterator[Any]:
    """Values that differ from the given one, some of which may be invalid."""
    if value is None:
        yield NONE_BECOMES[name]
    elif isinstance(value, np.ndarray):
        yield from array_alternatives(value)
    elif isinstance(value, Mapping):
        yield {**value, "more": next(iter(value.values()), SAMPLES[Range])}
    elif isinstance(value, tuple):
        for i, item in enumerate(value):
            for other in alternatives(item, None, "feed_mm_s"):
                yield (*value[:i], other, *value[i + 1 :])
        if hint is not None and get_args(hint)[-1] is Ellipsis:
            yield (*value, *value[-1:])
            yield value[::-1]
    elif is_dataclass(value):
        yield from record_alternatives(value)
    else:
        yield from scalar_alternatives(value, hint)


def record_alternatives(record: Any) -> Iterator[Any]:
    hints = get_type_hints(type(record))
    for field in fields(record):
        for other in alternatives(getattr(record, field.name), hints[field.name], field.name):
            try:
                yield replace(record, **{field.name: other})
            except ModelError:
                continue


def scalar_alternatives(value: Any, hint: Any) -> Iterator[Any]:
    if isinstance(value, Enum):
        yield from (v for v in type(value) if v is not value)
    elif get_origin(hint) is Literal:
        yield from (v for v in get_args(hint) if v != value)
    elif isinstance(value, bool):
        yield not value
    elif isinstance(value, str):
        yield from (value + "x", "#123456", "bed", "spoilboard", "top", "displacement", "test_cut")
    else:
        steps = (value + 1, value - 1, value * 1.5, value * 0.5, value * 0.999)
        yield from (type(value)(step) for step in steps)


def array_alternatives(array: np.ndarray) -> Iterator[np.ndarray]:
    if array.dtype.kind == "b":
        yield ~array
        return
    for i in range(array.size):
        for step in (1, -1, -0.5) if array.dtype.kind == "f" else (1, -1):
            other = array.copy()
            other.flat[i] += step
            if np.isfinite(array.flat[i]):
                yield other
    yield array[..., ::-1]
    if array.ndim == 3:  # turned by a quarter: still rigid
        quarter = np.array([[0.0, -1.0], [1.0, 0.0]])
        yield np.concatenate((quarter @ array[:, :, :2], array[:, :, 2:]), axis=2)
    if array.shape == (3, 3):
        yield array * 2.0


@pytest.mark.parametrize(
    "pair",
    [
        (0, 0.0),
        (0, False),
        (1, True),
        ("1", 1),
        ("", None),
        ((), ""),
        (("a", "b"), ("ab",)),
        (("a", ("b",)), ("a", "b")),
        ((1, (2, 3)), ((1, 2), 3)),
        ({"a": 1}, {"a": 2}),
        ({"a": 1}, {"b": 1}),
        ({"a": "b"}, ("a", "b")),
        (np.zeros(2), np.zeros(2, np.int64)),
        (np.zeros(0), np.zeros((0, 2))),
        (np.zeros((2, 3)), np.zeros((3, 2))),
        (b"a", "a"),
        (StageState.DONE, StageState.LOOK_AGAIN),
        (
            Event(before_block=1, code=EventCode.TOOL, value=2.0),
            Event(before_block=1, code=EventCode.PAUSE, value=2.0),
        ),
        (Tolerance(print_mm=1.0, size_mm=2.0), Tolerance(print_mm=2.0, size_mm=1.0)),
        (Tolerance(print_mm=1.0, size_mm=2.0), LoadPose(x_mm=1.0, y_mm=2.0)),
    ],
)
def test_contents_that_look_alike_have_different_digests(pair):
    assert digest_of(pair[0]) != digest_of(pair[1])


def test_minus_zero_is_zero_in_a_digest():
    assert digest_of(0.0) == digest_of(-0.0)
    assert digest_of(np.zeros(2)) == digest_of(-np.zeros(2))
    assert replace(SETUP, side_offset_mm=-0.0).digest == replace(SETUP, side_offset_mm=0.0).digest


def test_a_value_without_canonical_bytes_is_refused():
    with pytest.raises(ModelError, match="set"):
        digest_of({1, 2})


def test_records_compare_by_identity_and_by_digest():
    twin = rebuilt(TABLE)
    assert twin != TABLE
    assert twin.digest == TABLE.digest
    assert len({twin, TABLE}) == 2


def test_digests_are_sha_256_in_hex():
    for record in SAMPLES.values():
        digest = digest_of(record)
        assert len(digest) == len(SHA)
        assert set(digest) <= set("0123456789abcdef")


def test_samples_hold_arrays_of_every_element_type():
    found = {getattr(SAMPLES[k], n).dtype.kind for k, n in ARRAYS}
    assert found == {"f", "i", "b"}
    assert FINDING.params
    assert {PathSet, StageResult, Layout} - set(KINDS) == {PathSet}
