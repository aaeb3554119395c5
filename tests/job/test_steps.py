"""Taking a drawing in: everything is checked before anything is stored."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from kerfwright import catalog
from kerfwright.errors import (
    OutOfResourcesError,
    UnknownNameError,
    UnreadableError,
    UsageError,
)
from kerfwright.job import steps
from kerfwright.job.steps import NewJob, answer_unit, make_job, read_rules
from kerfwright.job.store import FolderStore


@pytest.fixture
def store(tmp_path):
    return FolderStore(tmp_path / "shop")


@pytest.fixture
def drawing(tmp_path):
    path = tmp_path / "order 7.dxf"
    path.write_bytes(b"0\nEOF\n")
    return path


def test_a_new_job_holds_the_file_and_the_choices(store, drawing):
    made = make_job(
        NewJob(
            job_id="order-7",
            file=drawing,
            sheet_mm=(1000.0, 500.0),
            thickness_mm=2.9,
            margin_mm=5.0,
            unit="cm",
            scale=0.5,
            every_line="through",
        ),
        store,
    )
    assert store.load_job("order-7").digest == made.digest
    given = made.inputs[0]
    assert (given.name, given.unit, given.scale) == ("order 7.dxf", "cm", 0.5)
    assert store.get_blob(given.sha256) == drawing.read_bytes()
    assert given.size_bytes == len(drawing.read_bytes())
    sheet = made.choices.sheet
    assert sheet.outline.box_mm() == (0.0, 0.0, 1000.0, 500.0)
    assert (sheet.thickness_mm, sheet.margin_mm) == (2.9, 5.0)
    last = made.rules.rules[-1]
    assert (last.layer, last.colour, last.name, last.operation) == ("", "", "", "through")


def test_without_a_thickness_the_middle_of_the_book_is_taken(store, drawing):
    made = make_job(NewJob(job_id="a", file=drawing), store)
    known = catalog.load_materials()["pvc-foam-3"].thickness_mm
    assert made.choices.sheet.thickness_mm == pytest.approx((known.low + known.high) / 2.0)
    house = catalog.load_rule_tables()["pvc-foam-3"]
    assert made.rules.digest == house.digest


def test_what_is_stored_and_loaded_is_what_was_made(store, drawing):
    # Whole numbers given by a person are floats inside, or keys would differ between processes.
    made = make_job(NewJob(job_id="a", file=drawing, sheet_mm=(900, 400), thickness_mm=3), store)
    assert store.load_job("a").digest == made.digest


WRONG = [
    ({"job_id": "../x"}, UsageError, ("../x", "cannot be a name")),
    ({"job_id": ""}, UsageError, ("cannot be a name",)),
    ({"table_id": "none"}, UnknownNameError, ("tables", "none", "pier-2616")),
    ({"table_id": "../x"}, UsageError, ("../x", "cannot be a name")),
    ({"material_id": "none"}, UnknownNameError, ("materials", "none", "pvc-foam-3")),
    ({"sheet_mm": (0.0, 500.0)}, UsageError, ("0 x 500 mm", "above 0")),
    ({"sheet_mm": (500.0, -1.0)}, UsageError, ("500 x -1 mm", "above 0")),
    ({"sheet_mm": (np.nan, 500.0)}, UsageError, ("nan x 500 mm", "above 0")),
    ({"sheet_mm": (np.inf, 500.0)}, UsageError, ("inf x 500 mm", "above 0")),
    ({"thickness_mm": 0.0}, UsageError, ("thickness", "0.0", "above 0")),
    ({"thickness_mm": -3.0}, UsageError, ("thickness", "-3.0", "above 0")),
    ({"thickness_mm": np.nan}, UsageError, ("thickness", "nan")),
    ({"thickness_mm": np.inf}, UsageError, ("thickness", "inf")),
    ({"margin_mm": -1.0}, UsageError, ("margin", "-1.0", "below 0")),
    ({"margin_mm": np.nan}, UsageError, ("margin", "nan")),
    ({"margin_mm": np.inf}, UsageError, ("margin", "inf")),
    ({"scale": 0.0}, UsageError, ("scale", "0.0", "above 0")),
    ({"scale": -2.0}, UsageError, ("scale", "-2.0", "above 0")),
    ({"scale": np.nan}, UsageError, ("scale", "nan")),
    ({"scale": np.inf}, UsageError, ("scale", "inf")),
    ({"unit": "furlong"}, UsageError, ("furlong", "mm, cm, m, in, ft")),
    ({"every_line": "burn"}, UsageError, ("burn", "through, score")),
    ({"file": Path("missing.dxf")}, UnreadableError, ("missing.dxf", "does not exist")),
    ({"file": Path()}, UnreadableError, ("is not a file",)),
]


@pytest.mark.parametrize(("change", "error", "words"), WRONG)
def test_a_wrong_value_is_refused_and_nothing_is_stored(store, drawing, change, error, words):
    given = {"job_id": "a", "file": drawing} | change
    with pytest.raises(error) as caught:
        make_job(NewJob(**given), store)
    assert [w for w in words if w not in str(caught.value)] == [], caught.value
    assert "\n" not in str(caught.value)
    assert not store.root.exists()


def test_a_name_that_is_taken_is_refused_and_the_job_stays(store, drawing):
    first = make_job(NewJob(job_id="a", file=drawing), store)
    drawing.write_bytes(b"another")
    with pytest.raises(UsageError, match="there is a job a already; choose another name"):
        make_job(NewJob(job_id="a", file=drawing), store)
    assert store.load_job("a").digest == first.digest
    assert len(list(store.root.glob("blobs/*/*"))) == 1


def test_a_name_whose_job_is_damaged_is_taken_too(store, drawing):
    make_job(NewJob(job_id="a", file=drawing), store)
    path = store.root / "jobs" / "a" / "job.json"
    path.write_text("{")
    with pytest.raises(UnreadableError, match="not JSON"):
        make_job(NewJob(job_id="a", file=drawing), store)
    assert path.read_text() == "{"


def test_a_file_that_is_too_large_is_not_taken_in(store, drawing, monkeypatch):
    monkeypatch.setattr(steps, "MAX_FILE_BYTES", 5)
    with pytest.raises(OutOfResourcesError, match="6 bytes, limit 5"):
        make_job(NewJob(job_id="a", file=drawing), store)
    assert not store.root.exists()


def test_a_file_name_in_an_old_encoding_is_kept_as_far_as_it_can_be_read(store, tmp_path):
    name = os.fsdecode(b"gr\xfc\xdfe.dxf")  # Latin-1 on a system that names files in UTF-8
    try:
        (tmp_path / name).write_bytes(b"0\nEOF\n")
    except OSError:
        pytest.skip("this system takes no file names that are not UTF-8")
    made = make_job(NewJob(job_id="a", file=tmp_path / name), store)
    assert made.inputs[0].name == "gr\ufffd\ufffde.dxf"
    assert store.load_job("a").digest == made.digest


def test_an_answer_to_the_unit_question_is_stored_once(store, drawing):
    job = make_job(NewJob(job_id="a", file=drawing), store)
    answered = answer_unit(job, store, "in")
    assert answered.inputs[0].unit == "in"
    assert answered.version == job.version + 1
    assert answer_unit(answered, store, "in") is answered
    with pytest.raises(UsageError, match="furlong"):
        answer_unit(answered, store, "furlong")
    assert store.load_job("a").digest == answered.digest


def test_the_shops_own_rules_are_read(tmp_path):
    path = tmp_path / "rules.toml"
    path.write_text(
        """
        [pvc-foam-3.operations.through]
        process = "cutting"
        head_kind = "tangential_knife"
        tool = "steep-point-6"
        card = "pvc-foam-3-through"
        depth_from = "bottom"
        depth_mm = -0.2
        tolerance_mm = { print_mm = 1, size_mm = 0.5 }
        fidelity = "size"
        [[pvc-foam-3.rules]]
        colour = "#ff0000"
        operation = "through"
        """
    )
    rules = read_rules(path, "pvc-foam-3")
    assert rules.operations[0].depth_mm == -0.2
    assert rules.rules[0].colour == "#ff0000"
    with pytest.raises(UnreadableError, match="no rules for corrugated-4; it has: pvc-foam-3"):
        read_rules(path, "corrugated-4")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (None, ("does not exist",)),
        (b"", ("no rules for pvc-foam-3", "nothing")),
        (b"\xff\xfe", ("is not text", "UTF-8")),
        (b"[pvc", ("not TOML",)),
        (b"[pvc-foam-3]\nrules = 3", ("entry pvc-foam-3", "no operation")),
        (b"[pvc-foam-3]\nrool = 3", ("entry pvc-foam-3", "rool", "not known")),
    ],
)
def test_rules_that_cannot_be_read_name_the_file_once(tmp_path, content, words):
    path = tmp_path / "rules.toml"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(UnreadableError) as caught:
        read_rules(path, "pvc-foam-3")
    sentence = str(caught.value)
    assert [w for w in words if w not in sentence] == [], sentence
    assert sentence.count("rules.toml") == 1
    assert "\n" not in sentence
