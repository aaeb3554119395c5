"""Records to documents and blobs and back, bit for bit; whatever is damaged is refused."""

from __future__ import annotations

import json
import struct
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from job.results_samples import PLACED, RESULT_SAMPLES, results_of
from kerfwright import catalog
from kerfwright.errors import Finding, KerfwrightError, ModelError, UnreadableError
from kerfwright.geometry.paths import PathSet, empty_paths
from kerfwright.geometry.plane_map import PlaneMap
from kerfwright.geometry.record import F64, Record, digest_of
from kerfwright.job import results
from kerfwright.job.codec import from_blob, from_document, to_blob, to_document
from kerfwright.model.drawing import Drawing
from kerfwright.model.job import Job, JobInput
from kerfwright.model.material import Material
from kerfwright.model.motion import ToolMotion
from kerfwright.model.sheet import Sheet
from model.records import records
from model.samples import DRAWING, FINDING, INPUT, JOB, LAYOUT, MATERIAL, MOTION, SAMPLES, SHEET
from model.walk import dataclasses_of, differences

ALL = SAMPLES | RESULT_SAMPLES | {Finding: FINDING}
KINDS = list(ALL)
HOLDS_NAN = {ToolMotion, results.PlanResult, results.TimeResult}
HOLDS_NAN |= {k for k in KINDS if k.__name__ == "TimedMotion"}
IN_DOCUMENTS = [kind for kind in KINDS if kind not in HOLDS_NAN]


def through_blob(kind: type, record: Any) -> Any:
    return from_blob(kind, to_blob(record), origin="test")


def through_document(kind: type, record: Any) -> Any:
    return from_document(kind, to_document(record), origin="test")


def test_every_result_type_is_covered():
    assert dataclasses_of(results) == set(RESULT_SAMPLES)


@pytest.mark.parametrize("kind", KINDS, ids=lambda k: k.__name__)
def test_a_sample_survives_the_blob(kind):
    assert differences(ALL[kind], through_blob(kind, ALL[kind])) == []


@pytest.mark.parametrize("kind", IN_DOCUMENTS, ids=lambda k: k.__name__)
def test_a_sample_survives_the_document(kind):
    back = through_document(kind, ALL[kind])
    assert differences(ALL[kind], back) == []
    assert digest_of(back) == digest_of(ALL[kind])


@pytest.mark.parametrize("kind", [*KINDS, PathSet, PlaneMap], ids=lambda k: k.__name__)
@settings(max_examples=6)
@given(data=st.data())
def test_any_record_survives_both(kind, data):
    record = data.draw(results_of(kind))
    assert differences(record, through_blob(kind, record)) == []
    if kind not in HOLDS_NAN:
        assert differences(record, through_document(kind, record)) == []


@given(st.floats(allow_nan=False, allow_infinity=False))
@example(-0.0)
@example(5e-324)
@example(0.1 + 0.2)
@example(1.7976931348623157e308)
def test_every_float_reads_back_bit_for_bit(number):
    shifted = replace(SHEET, cost=number, keep_outs=empty_paths())
    for back in (through_blob(Sheet, shifted), through_document(Sheet, shifted)):
        assert struct.pack("<d", back.cost) == struct.pack("<d", number)


def test_nan_is_kept_in_the_arrays_of_a_blob():
    back = through_blob(ToolMotion, MOTION)
    assert np.isnan(MOTION.centre).any()
    assert back.centre.tobytes() == MOTION.centre.tobytes()


def test_numbers_that_are_not_finite_survive_in_a_finding_of_a_blob():
    # A finding may say "no limit"; losing the stage's result over it would be worse.
    record = replace(DRAWING, findings=(replace(FINDING, limit=float("inf")),))
    assert through_blob(Drawing, record).findings[0].limit == float("inf")


def test_a_document_refuses_what_json_has_no_word_for():
    with pytest.raises(ModelError, match="ToolMotion cannot be stored"):
        to_document(MOTION)
    with pytest.raises(ModelError, match="cannot be stored"):
        to_document(replace(FINDING, limit=float("inf")))


def test_half_of_a_surrogate_pair_is_refused_before_it_is_written():
    half = replace(FINDING, params={"layer": "\ud800"})
    for write in (to_document, to_blob):
        with pytest.raises(ModelError, match="Finding cannot be stored"):
            write(half)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Odd(Record):
    value: Any


@pytest.mark.parametrize("value", [{1, 2}, b"bytes", 1j, object])
def test_values_that_are_no_part_of_a_record_are_not_written(value):
    for write in (to_document, to_blob):
        with pytest.raises(TypeError, match="cannot be stored"):
            write(_Odd(value=value))


def test_arrays_of_a_read_blob_cannot_be_written():
    back = through_blob(results.PlacedContours, PLACED)
    assert not back.on_sheet.points.flags.writeable
    assert not back.part_side.flags.writeable


def test_arrays_without_rows_keep_their_columns():
    for back in (through_blob(Sheet, bare()), through_document(Sheet, bare())):
        assert back.holes.points.shape == (0, 2)


def bare() -> Sheet:
    return replace(SHEET, holes=empty_paths(), keep_outs=empty_paths())


def test_a_blob_is_laid_out_as_its_description_says():
    # Read here by hand, from the words of the codec's own docstring.
    data = to_blob(MATERIAL)
    assert data.startswith(b"kerfwright-record-1\n")
    size = int.from_bytes(data[20:28], "little")
    header = json.loads(data[28 : 28 + size])
    assert header["record"] == "Material"
    assert header["value"]["ranges"]["curl_mm"]["low"] == 2.8
    data = to_blob(MOTION)
    size = int.from_bytes(data[20:28], "little")
    place = json.loads(data[28 : 28 + size])["value"]["end"]
    body = data[28 + size + (-(28 + size) % 16) :]
    raw = body[place["at"] : place["at"] + 8 * 20]
    assert place["dtype"] == "<f8"
    assert np.frombuffer(raw, "<f8").reshape(place["shape"]).tolist() == MOTION.end.tolist()


def test_equal_records_give_equal_bytes():
    again = through_blob(ToolMotion, MOTION)
    assert to_blob(again) == to_blob(MOTION)
    assert to_document(through_document(Job, JOB)) == to_document(JOB)


def test_a_document_is_text_for_people():
    text = to_document(replace(INPUT, name="Grüße.dxf"))
    assert "Grüße.dxf" in text
    assert text.endswith("}\n")
    assert text.count("\n") > 5


def test_whole_numbers_of_people_are_floats_inside():
    text = to_document(INPUT).replace('"scale": 2.0', '"scale": 2')
    assert '"scale": 2,\n' in text
    back = from_document(JobInput, text, origin="x")
    assert differences(back, INPUT) == []


def test_the_whole_catalogue_survives_both():
    for load in (
        catalog.load_tables,
        catalog.load_tools,
        catalog.load_materials,
        catalog.load_cards,
        catalog.load_rule_tables,
    ):
        for entry in load().values():
            assert differences(entry, through_document(type(entry), entry)) == []
            assert differences(entry, through_blob(type(entry), entry)) == []


# ---------------------------------------------------------------- damage


def refused(read: Callable[[], object]) -> str:
    with pytest.raises(UnreadableError) as caught:
        read()
    sentence = str(caught.value)
    assert sentence.startswith("here")
    assert "\n" not in sentence
    assert len(sentence) < 600
    return sentence


def edited(record: Any, **change: Any) -> str:
    """A document with some of its top keys replaced; a change to `...` drops the key."""
    plain = json.loads(to_document(record)) | change
    return json.dumps({k: v for k, v in plain.items() if v is not ...})


WRONG_DOCUMENTS = [
    (Material, "", ("not JSON",)),
    (Material, "{", ("not JSON",)),
    (Material, "null", ("None", "dict")),
    (Material, "[]", ("[]", "dict")),
    (Material, '"text"', ("text", "dict")),
    (Material, "7", ("7", "dict")),
    (Material, "[" * 100_000, ("not JSON",)),
    (Material, "{}", ("Material", "id")),
    (Material, edited(MATERIAL, id=...), ("Material", "id")),
    (Material, edited(MATERIAL, id=7), ("7", "str")),
    (Material, edited(MATERIAL, id=None), ("None", "str")),
    (Material, edited(MATERIAL, id="\ud800"), ("surrogates",)),
    (Material, edited(MATERIAL, colour="red"), ("Material", "colour")),
    (Material, edited(MATERIAL, __class__="x"), ("Material", "__class__")),
    (Material, edited(MATERIAL, ranges=[]), ("[]", "dict")),
    (Material, edited(MATERIAL, ranges={"a": 1}), ("1", "dict")),
    (Material, edited(MATERIAL, ranges={"\udfff": None}), ("surrogates",)),
    (Material, to_document(MATERIAL).replace("2.8", "NaN"), ("NaN", "not JSON")),
    (Material, to_document(MATERIAL).replace("2.8", "-Infinity"), ("-Infinity", "not JSON")),
    (Material, to_document(MATERIAL).replace("2.8", "-1e999"), ("too large",)),
    (Material, to_document(MATERIAL).replace("2.8", "1" + "0" * 400), ("too large",)),
    (Material, to_document(MATERIAL).replace("2.8", "9" * 5000), ("not JSON",)),
    (Material, to_document(MATERIAL).replace("2.8", "true"), ("True", "float")),
    (Material, to_document(MATERIAL).replace("2.8", '"2.8"'), ("2.8", "float")),
    (Material, to_document(MATERIAL).replace("2.8", "4.8"), ("4.8", "3.2", "empty")),
    (Job, edited(JOB, held="c2"), ("c2", "list")),
    (Job, edited(JOB, held={"c2": 1}), ("c2", "list")),
    (Job, edited(JOB, held=[7]), ("7", "str")),
    (Job, edited(JOB, version=1.5), ("1.5", "int")),
    (Job, edited(JOB, version=True), ("True", "int")),
    (Job, edited(JOB, version=-1), ("order-7", "-1", "0")),
    (Job, edited(JOB, schema_version=2), ("order-7", "2", "1")),
    (Job, edited(JOB, inputs=[]), ("order-7", "0", "1")),
    (Job, edited(JOB, state={"drawing": "half"}), ("half",)),
    (Job, edited(JOB, state={"drawing": []}), ("[]",)),
    (Job, edited(JOB, results={"drawing": {"key": "a"}}), ("blob",)),
    (JobInput, edited(INPUT, name="../../x.dxf"), ("../../x.dxf", "without its folder")),
    (PathSet, edited(empty_paths(), points=[]), ("points", "(0,)")),
    (PathSet, edited(empty_paths(), points={}), ("shape",)),
    (PathSet, edited(empty_paths(), points={"shape": [3, 2]}), ("shape",)),
    (PathSet, edited(empty_paths(), points={"shape": [0, -2]}), ("-2",)),
    (PathSet, edited(empty_paths(), points={"shape": [0, 2.5]}), ("2.5", "int")),
    (PathSet, edited(empty_paths(), points={"shape": [0, 10**30]}), ("PathSet",)),
    (PathSet, edited(empty_paths(), points={"shape": [0] * 99}), ("PathSet",)),
    (PathSet, edited(empty_paths(), points="abc"), ("abc", "list")),
    (PathSet, edited(empty_paths(), points=[["1", "2"]]), ("float64",)),
    (PathSet, edited(empty_paths(), points=[[1, 2], [3]]), ("PathSet",)),
    (PathSet, edited(empty_paths(), points=[[10**400, 0]]), ("float64",)),
    (PathSet, edited(empty_paths(), points=[[True, False]]), ("float64",)),
    (PathSet, edited(empty_paths(), starts=[0.5]), ("0.5", "int64")),
    (PathSet, edited(empty_paths(), starts=[2**63]), ("int64",)),
    (PathSet, edited(empty_paths(), starts=[None]), ("int64",)),
    (PathSet, edited(empty_paths(), closed=[1], starts=[0, 0]), ("bool",)),
    (Drawing, edited(DRAWING, unit_is_certain=1), ("1", "bool")),
    (Drawing, edited(DRAWING, art=7), ("7", "dict")),
    (Drawing, edited(DRAWING, art={"sha256": "a", "page": 1, "box_mm": [0, 0, 1]}), ("Drawing",)),
    (Finding, edited(FINDING, severity="fatal"), ("fatal",)),
    (Finding, edited(FINDING, params={"a": []}), ("[]", "str or float or int")),
    (Finding, edited(FINDING, params={"a": None}), ("None", "str or float or int")),
    (Finding, edited(FINDING, measured="0.1"), ("0.1", "float")),
]


@pytest.mark.parametrize(
    ("kind", "text", "words"), WRONG_DOCUMENTS, ids=[str(i) for i in range(len(WRONG_DOCUMENTS))]
)
def test_a_wrong_document_is_refused_in_one_sentence(kind, text, words):
    sentence = refused(lambda: from_document(kind, text, origin="here"))
    assert [w for w in words if w not in sentence] == [], sentence


def blob_of(header: Any, body: bytes = b"", *, size: int | None = None) -> bytes:
    raw = header if isinstance(header, bytes) else json.dumps(header).encode()
    start = 28 + len(raw)
    length = len(raw) if size is None else size
    magic = b"kerfwright-record-1\n" + length.to_bytes(8, "little")
    return magic + raw + b" " * (-start % 16) + body


def one_array(name: str, place: Any) -> bytes:
    """A PathSet of one line whose named array is said to be elsewhere."""
    points = np.array([[0.0, 0.0], [1.0, 0.0]])
    arrays = {
        "points": (points, {"dtype": "<f8", "shape": [2, 2], "at": 0}),
        "bulges": (np.zeros(2), {"dtype": "<f8", "shape": [2], "at": 32}),
        "starts": (np.array([0, 2]), {"dtype": "<i8", "shape": [2], "at": 48}),
        "closed": (np.array([False]), {"dtype": "|b1", "shape": [1], "at": 64}),
    }
    value = {key: where for key, (_, where) in arrays.items()}
    if name:
        value[name] = place
    body = b"".join(array.tobytes().ljust(16, b"\0") for array, _ in arrays.values())
    return blob_of({"record": "PathSet", "value": value}, body)


def f8(**change: Any) -> dict[str, Any]:
    return {"dtype": "<f8", "shape": [2, 2], "at": 0} | change


WRONG_BLOBS = [
    (b"", ("not a stored result",)),
    (b"kerfwright-record-1\n", ("not a stored result", "header")),
    (b"kerfwright-record-2\n" + bytes(64), ("not a stored result",)),
    (blob_of({}, size=2**63), ("not a stored result",)),
    (blob_of({}, size=400), ("not a stored result",)),
    (blob_of(b"{"), ("broken header",)),
    (blob_of(b"\xff\xfe{"), ("header",)),
    (blob_of(b"[" * 100_000), ("broken header",)),
    (blob_of([]), ("names no record",)),
    (blob_of(None), ("names no record",)),
    (blob_of({"record": "PathSet"}), ("names no record",)),
    (blob_of({"value": 1}), ("names no record",)),
    (blob_of({"record": "Job", "value": {}}), ("Job", "wanted a PathSet")),
    (blob_of({"record": ["PathSet"], "value": {}}), ("wanted a PathSet",)),
    (blob_of({"record": "PathSet", "value": 3}), ("3", "dict")),
    (one_array("points", 7), ("PathSet",)),
    (one_array("points", None), ("PathSet",)),
    (one_array("points", [[0.0, 0.0]]), ("PathSet",)),
    (one_array("points", {}), ("dtype",)),
    (one_array("points", f8(dtype="<i8", shape=[3, 2])), ("points", "wanted")),
    (one_array("points", f8(dtype="O")), ("object",)),
    (one_array("points", f8(dtype="<U2")), ("<U2",)),
    (one_array("points", f8(dtype="|V8")), ("V8",)),
    (one_array("points", f8(dtype="<c16")), ("complex",)),
    (one_array("points", f8(dtype="<M8[s]")), ("datetime",)),
    (one_array("points", f8(dtype="nonsense")), ("nonsense",)),
    (one_array("points", f8(dtype=3)), ("PathSet",)),
    (one_array("points", f8(dtype=None, shape=[0, 3])), ("points", "wanted")),
    (one_array("points", f8(dtype=[["a", "<f8"]])), ("PathSet",)),
    (one_array("points", f8(shape=[-2, -2])), ("-2",)),
    (one_array("points", f8(shape=[2])), ("points", "wanted")),
    (one_array("points", f8(shape="22")), ("22", "list")),
    (one_array("points", f8(shape=[2.0, 2])), ("2.0", "int")),
    (one_array("points", f8(shape=[2**40, 2**40])), ("past the end",)),
    (one_array("points", f8(shape=[10**30, 2])), ("past the end",)),
    (one_array("points", f8(at=-16)), ("past the end",)),
    (one_array("points", f8(at=8)), ("past the end",)),
    (one_array("points", f8(at=2**62)), ("past the end",)),
    (one_array("points", f8(at=16.0)), ("PathSet",)),
    (one_array("points", f8(at="0")), ("PathSet",)),
    (one_array("starts", f8(dtype="<f8", shape=[2])), ("float64", "int64")),
    (one_array("starts", {"dtype": "<i8", "shape": [2], "at": 0}), ("starts",)),
    (one_array("closed", {"dtype": "<i8", "shape": [1], "at": 48}), ("int64", "bool")),
]


@pytest.mark.parametrize(
    ("data", "words"), WRONG_BLOBS, ids=[str(i) for i in range(len(WRONG_BLOBS))]
)
def test_a_wrong_blob_is_refused_in_one_sentence(data, words):
    sentence = refused(lambda: from_blob(PathSet, data, origin="here"))
    assert any(w in sentence for w in words), sentence


def test_the_hand_made_blob_is_right_before_it_is_made_wrong():
    path = from_blob(PathSet, one_array("", None), origin="here")
    assert path.points.tolist() == [[0.0, 0.0], [1.0, 0.0]]


def test_numbers_of_the_other_byte_order_are_read_as_they_are():
    turned = np.array([[1.0, 2.0], [3.0, 4.0]], ">f8").tobytes()
    data = one_array("points", f8(dtype=">f8"))
    start = data.index(np.array([[0.0, 0.0], [1.0, 0.0]]).tobytes())
    data = data[:start] + turned + data[start + 32 :]
    points = from_blob(PathSet, data, origin="here").points
    assert points.tolist() == [[1.0, 2.0], [3.0, 4.0]]
    assert points.dtype == np.dtype("<f8")


def outcome(read: Callable[[], object]) -> str:
    """'record', or the class of the refusal; anything outside the tree escapes."""
    try:
        read()
    except KerfwrightError as error:
        return type(error).__name__
    return "record"


FUZZED = [Job, Drawing, ToolMotion, PathSet, PlaneMap, *RESULT_SAMPLES]
SOURCES = ALL | {PathSet: DRAWING.paths, PlaneMap: PLACED.table_from_sheet}


@pytest.mark.parametrize("kind", FUZZED, ids=lambda k: k.__name__)
def test_a_blob_with_flipped_bytes_is_a_record_or_unreadable(kind):
    data = bytearray(to_blob(SOURCES[kind]))
    rng = np.random.default_rng(len(data))
    seen = set()
    for _ in range(400):
        damaged = bytearray(data)
        for place in rng.integers(0, len(data), rng.integers(1, 4)):
            damaged[place] = rng.integers(0, 256)
        seen.add(outcome(lambda d=bytes(damaged): from_blob(kind, d, origin="here")))
    assert seen == {"record", "UnreadableError"}


@pytest.mark.parametrize("kind", FUZZED, ids=lambda k: k.__name__)
def test_a_shortened_blob_is_a_record_or_unreadable(kind):
    data = to_blob(SOURCES[kind])
    cuts = {*range(0, len(data), max(len(data) // 150, 1)), *range(40)}
    seen = {
        cut: outcome(lambda n=cut: from_blob(kind, data[:n], origin="here")) for cut in sorted(cuts)
    }
    # A program's text stands in the header; where there is no array nothing follows it.
    last = max((cut for cut, said in seen.items() if said != "UnreadableError"), default=-1)
    assert last < 0 or last > len(data) - 16, "only padding may be missing"


@pytest.mark.parametrize("kind", [Job, Drawing, Material, Finding], ids=lambda k: k.__name__)
def test_a_document_with_flipped_characters_is_a_record_or_unreadable(kind):
    text = to_document(ALL[kind])
    rng = np.random.default_rng(len(text))
    seen = set()
    for _ in range(400):
        damaged = list(text)
        for place in rng.integers(0, len(text), rng.integers(1, 4)):
            damaged[place] = chr(rng.choice([*b'0123456789.-+eE"[]{},:ntf ', 0, 233, 0x1F600]))
        changed = "".join(damaged)
        seen.add(outcome(lambda t=changed: from_document(kind, t, origin="here")))
    assert seen == {"record", "UnreadableError"}


@pytest.mark.parametrize("kind", [Job, Drawing], ids=lambda k: k.__name__)
def test_a_shortened_document_is_unreadable(kind):
    text = to_document(ALL[kind])
    for cut in range(0, len(text) - 2, max(len(text) // 200, 1)):
        refused(lambda n=cut: from_document(kind, text[:n], origin="here"))


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=4), inner),
    max_leaves=6,
)


def nodes(plain: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    keys = plain if isinstance(plain, dict) else range(len(plain))
    below = [n for k in keys if isinstance(plain[k], dict | list) for n in nodes(plain[k], (k,))]
    return [(*path, k) for k in keys] + [(*path, *n) for n in below]


@pytest.mark.parametrize("kind", [Job, Drawing, results.LayoutResult], ids=lambda k: k.__name__)
@given(data=st.data())
def test_any_json_at_any_place_is_a_record_or_unreadable(kind, data):
    plain = json.loads(to_document(ALL[kind]))
    path = data.draw(st.sampled_from(nodes(plain)))
    node = plain
    for key in path[:-1]:
        node = node[key]
    node[path[-1]] = data.draw(JSON)
    said = outcome(lambda: from_document(kind, json.dumps(plain), origin="here"))
    assert said in {"record", "UnreadableError"}


@given(st.binary(max_size=200))
def test_any_bytes_are_no_blob(data):
    refused(lambda: from_blob(Job, data, origin="here"))
    refused(lambda: from_blob(Job, blob_of(data), origin="here"))


@settings(max_examples=10)
@given(records(Job))
def test_a_job_never_reads_as_another_kind(job):
    refused(lambda: from_blob(Drawing, to_blob(job), origin="here"))
    refused(lambda: from_document(Drawing, to_document(job), origin="here"))


def test_huge_numbers_in_an_invariant_are_refused_without_a_warning():
    maps = LAYOUT.sheet_from_part.copy()
    text = to_document(LAYOUT).replace(repr(float(maps[0, 0, 0])), "1e300", 1)
    refused(lambda: from_document(type(LAYOUT), text, origin="here"))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Many(Record):
    arrays: tuple[F64, ...]


def calls_to_write(arrays: int) -> int:
    """How many calls writing a blob of so many arrays takes."""
    many, calls = _Many(arrays=tuple(np.zeros((arrays, 3)))), 0

    def count(*_: object) -> None:
        nonlocal calls
        calls += 1

    sys.setprofile(count)
    try:
        to_blob(many)
    finally:
        sys.setprofile(None)
    return calls


def test_the_cost_of_a_blob_grows_with_its_arrays():
    # Where each array begins was once summed anew for every array; counted, not timed.
    assert calls_to_write(400) < 2.2 * calls_to_write(200)
