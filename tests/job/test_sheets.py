"""One printed sheet from artwork to measured parts, and what stops it."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace

import numpy as np
import pytest

from kerfwright import virtual
from kerfwright.errors import BlockedError, Severity, UnknownNameError, UnreadableError, UsageError
from kerfwright.job import order as orders
from kerfwright.job import sheets
from kerfwright.job.final import part_results
from kerfwright.job.order import DRAWN_ORDERS, DemoOrder, make_drawn_job
from kerfwright.job.rehearsal import Scenario
from kerfwright.job.rehearsed import rehearse
from kerfwright.job.sheet_handover import hand_over_sheet
from kerfwright.job.sheets import (
    add_sheet,
    end_look,
    read_photos,
    release,
    run_sheet,
    run_sheet_checked,
)
from kerfwright.job.steps import verify_file
from kerfwright.job.store import FolderStore
from kerfwright.model.job import MarkChoices
from kerfwright.model.run import Release, SheetState
from kerfwright.model.table import Table

LIMIT_MM = 0.5
SMALL = DemoOrder(
    name="small",
    job_id="two-shields",
    title="Two shields",
    file="boards/boards.pdf",
    pages=1,
    quantity=2,
    material_id="pvc-foam-3",
    sheet_mm=(900.0, 600.0),
    marks=MarkChoices(count=6),
    spacing_mm=8.0,
)


def small_scenario() -> Scenario:
    return Scenario(
        printer=virtual.Printer(growth_x=0.001, growth_y=-0.0005, skew_rad=0.0005, dot_sd_mm=0.01),
        throw=virtual.Throw(x_mm=75.0, y_mm=52.0, turn_rad=np.radians(2.0)),
        blemishes=virtual.Blemishes(dirt_count=10),
        optics=virtual.Optics(),
        head_error_mm=(0.01, -0.01),
        repeat_sd_mm=0.005,
        seed=3,
    )


def quiet(stage: str, done: int, of: int) -> None:
    """Watch nothing."""


@pytest.fixture(scope="module")
def rehearsed(tmp_path_factory):
    folder = tmp_path_factory.mktemp("small")
    before = dict(orders.SCENARIOS)
    orders.SCENARIOS["small"] = small_scenario
    try:
        store = FolderStore(folder / "shop")
        yield folder, store, rehearse(SMALL, store, folder / "out", progress=quiet)
    finally:
        orders.SCENARIOS.clear()
        orders.SCENARIOS.update(before)


@pytest.fixture
def at_hand(rehearsed):
    folder, store, done = rehearsed
    return folder, store, store.load_job(SMALL.job_id), done


def codes(run):
    return {f.code for f in run.findings}


def test_every_part_lands_where_it_was_promised(rehearsed):
    _, _, done = rehearsed
    assert not done.run.is_blocked
    parts = part_results(done.run)
    assert len(parts) == 2
    assert [p.state for p in parts] == ["will_cut", "will_cut"]
    assert set(done.truth_mm) == {p.name for p in parts}
    for part in parts:
        assert done.truth_mm[part.name] <= part.limit_mm == LIMIT_MM
        assert done.truth_mm[part.name] <= 2.0 * part.bound_mm


def test_the_price_is_told_line_by_line(rehearsed):
    _, _, done = rehearsed
    words = [word for word, _ in done.price]
    assert words[0] == "set up"
    assert words[-1] == "total"
    usual = [float(text.split()[0]) for _, text in done.price]
    assert usual[-1] == pytest.approx(sum(usual[:-1]), abs=0.005)


def test_the_files_are_there_and_agree(rehearsed):
    folder, _, done = rehearsed
    names = {p.relative_to(folder / "out").as_posix() for p in done.files}
    assert {
        "print.pdf", "print-no-cut.pdf", "quote.pdf", "program.nc", "program-air.nc", "fit.json",
        "ticket.pdf", "summary.json",
    } <= names  # fmt: skip
    assert all(path.exists() for path in done.files)
    summary = json.loads((folder / "out/summary.json").read_text(encoding="utf-8"))
    assert summary["sheet"]["serial"] == 1
    assert [p["cut"] for p in summary["parts"]] == [True, True]
    assert summary["look"]["matched"] == 6
    assert "LOK-101" not in codes(done.run), "the picture of the label needs no mark"
    assert (folder / "out/program.nc").read_text(encoding="ascii").splitlines()[0].count("sheet 1")


def test_the_pictures_written_are_taken_in_again(at_hand):
    folder, store, job, _ = at_hand
    taken = read_photos(folder / "out/photos")
    made, serial = add_sheet(job, store, photos=taken)
    assert serial == max(run.serial for run in job.runs) + 1
    run = run_sheet(made, store, serial, last="fit")
    first = run_sheet(run.context.job, store, 1, last="fit")
    one, two = (r.upstream["fit"].fit.mean_map.affine for r in (first, run))
    assert np.abs(one - two).max() == 0.0
    assert run.context.job.run(serial).state is SheetState.ON_BED


def test_a_sheet_without_its_label_is_taken_on_trust_and_said(at_hand):
    folder, store, job, _ = at_hand
    taken = read_photos(folder / "out/photos")[:-1]
    made, serial = add_sheet(job, store, photos=taken)
    run = run_sheet(made, store, serial, last="look")
    assert "LOK-140" in codes(run)
    assert not run.is_blocked


def test_another_orders_sheet_is_refused(at_hand):
    folder, store, job, _ = at_hand
    taken = read_photos(folder / "out/photos")
    other = store.save_job(
        replace(job, id="another-order", version=0, runs=(), results={}, state={})
    )
    made, serial = add_sheet(other, store, photos=taken)
    run = run_sheet(made, store, serial, last="fit")
    assert run.is_blocked
    assert "LOK-142" in codes(run)
    assert "fit" not in run.reached


def test_two_pictures_of_one_mark_are_not_enough(at_hand):
    folder, store, job, _ = at_hand
    taken = read_photos(folder / "out/photos")[2:3]
    made, serial = add_sheet(job, store, photos=taken)
    run = run_sheet(made, store, serial, last="fit")
    assert run.is_blocked
    assert codes(run) & {"LOK-120", "LOK-124", "LOK-125"}


def test_changed_zones_mean_look_again(at_hand):
    _, store, job, _ = at_hand
    changed = store.save_job(
        replace(store.load_job(job.id), choices=replace(job.choices, zones=(1, 2, 3)))
    )
    run = run_sheet(changed, store, 1, last="plan")
    assert "JOB-171" in codes(run)
    assert run.is_blocked
    back = replace(store.load_job(job.id), choices=job.choices)
    store.save_job(back)


def test_the_end_look_sees_whether_the_sheet_stayed(at_hand):
    folder, store, _, _ = at_hand
    taken = read_photos(folder / "out/photos")
    _, found = end_look(store.load_job(SMALL.job_id), store, 1, taken[:4])
    assert found == ()
    moved = [
        (replace(p, camera_xy_mm=p.camera_xy_mm + np.array((0.4, 0.0))), d) for p, d in taken[:4]
    ]
    _, found = end_look(store.load_job(SMALL.job_id), store, 1, moved)
    assert {f.code for f in found} == {"JOB-172"}
    _, found = end_look(store.load_job(SMALL.job_id), store, 1, taken[-1:])
    assert {f.code for f in found} <= {"LOK-125", "JOB-172"}


def test_a_release_needs_a_reason_and_stays_with_the_sheet(at_hand):
    _, store, _, _ = at_hand
    given = Release(contour="c78@1", reason="spare_part", initials="A.O.")
    job = release(store.load_job(SMALL.job_id), store, 1, [given])
    assert job.run(1).released == (given,)
    again = release(job, store, 1, [replace(given, reason="test_cut")])
    assert [r.reason for r in again.run(1).released] == ["test_cut"]


def test_a_released_contour_is_cut_and_said_so(at_hand, tmp_path):
    """A head nobody knows well leaves every part in doubt; a person lets one of them through."""
    _, _, _, done = at_hand
    shop = tmp_path / "shop"
    shutil.copytree(at_hand[0] / "shop", shop)
    store = FolderStore(shop)
    table = store.load_entry(Table, "pier-2616")
    unsure = np.diag(np.full(3, 0.15**2))
    heads = tuple(replace(h, offset_cov_mm2=unsure) for h in table.heads)
    store.save_entry(table.id, replace(table, heads=heads))
    job = store.load_job(SMALL.job_id)
    before = run_sheet(job, store, 1, last="fit")
    doubted = [v.contour for v in before.upstream["fit"].verdicts if v.state == "check"]
    assert doubted, [v.p_in_tolerance for v in before.upstream["fit"].verdicts]
    part = next(p for p in part_results(before) if doubted[0] in p.contours)
    given = [Release(contour=c, reason="test_cut", initials="AB") for c in part.contours]
    job = release(store.load_job(SMALL.job_id), store, 1, given)
    run = run_sheet(job, store, 1, last="plan")
    assert set(part.contours) <= set(run.upstream["plan"].placed.contours)
    said = {f.code for f in run.findings if f.where.contour in set(part.contours)}
    assert "JOB-182" in said
    assert "JOB-180" not in said
    assert done.run.upstream["plan"].held == ()


def test_a_checked_sheet_is_handed_over_and_noted(at_hand, tmp_path):
    _, store, _, _ = at_hand
    run = run_sheet_checked(store.load_job(SMALL.job_id), store, 1)
    files = hand_over_sheet(run, store, tmp_path / "again")
    assert {p.name for p in files} >= {"program.nc", "ticket.pdf", "fit.json"}
    noted = store.load_job(SMALL.job_id).run(1)
    assert noted.state is SheetState.HANDED_OVER
    assert len(noted.program_sha) == 64


def test_a_program_is_checked_against_its_own_sheet_and_refused_for_another(at_hand, tmp_path):
    folder, store, _, _ = at_hand
    run = run_sheet_checked(store.load_job(SMALL.job_id), store, 1)
    hand_over_sheet(run, store, tmp_path)
    job = store.load_job(SMALL.job_id)
    assert verify_file(job, store, tmp_path / "program.nc", serial=1).passed
    lines = (tmp_path / "program.nc").read_text(encoding="ascii").splitlines()
    at = next(
        i for i, line in enumerate(lines)
        if line.startswith("G1 X") and lines[i + 1].startswith("G0")  # no arc begins there
    )  # fmt: skip
    word = lines[at].split()[1]
    lines[at] = lines[at].replace(word, f"X{float(word[1:]) + 0.4:.4f}")
    (tmp_path / "edited.nc").write_text("\n".join(lines) + "\n", encoding="ascii")
    edited = verify_file(job, store, tmp_path / "edited.nc", serial=1)
    assert not edited.passed
    assert {f.code for f in edited.findings} & {"VER-113", "VER-111"}
    job, other = sheets.add_sheet(job, store, photos=read_photos(folder / "out" / "photos"))
    refused = verify_file(job, store, tmp_path / "program.nc", serial=other)
    assert "JOB-183" in {f.code for f in refused.findings}
    assert not refused.passed
    assert not verify_file(job, store, tmp_path / "program.nc").passed


def test_a_nominal_run_is_no_sheet(at_hand, tmp_path):
    _, store, _, _ = at_hand
    office = sheets.office_run(store.load_job(SMALL.job_id), store)
    with pytest.raises(BlockedError):
        hand_over_sheet(office, store, tmp_path)


def test_a_job_without_marks_has_no_sheets(tmp_path):
    store = FolderStore(tmp_path / "shop")
    job = make_drawn_job(DRAWN_ORDERS["plain"], store)
    with pytest.raises(UsageError, match="no registration marks"):
        add_sheet(job, store, photos=())
    with pytest.raises(UnknownNameError, match="no sheet 7"):
        job.run(7)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "no JSON list"),
        ("[]", "lists no picture"),
        ("[3]", "entry 1"),
        ('[{"file": "a.png"}]', "lacks x_mm, y_mm, px_per_mm"),
        ('[{"file": "../a.png", "x_mm": 0, "y_mm": 0, "px_per_mm": 1}]', "not the name of a file"),
        ('[{"file": "a.png", "x_mm": 0, "y_mm": 0, "px_per_mm": 1}]', "a.png"),
    ],
)
def test_a_bad_list_of_pictures_is_refused_in_a_sentence(tmp_path, text, words):
    (tmp_path / "photos.json").write_text(text, encoding="utf-8")
    with pytest.raises(UnreadableError, match=words):
        read_photos(tmp_path)


def test_findings_of_a_part_hold_it_back_alone(rehearsed):
    _, _, done = rehearsed
    holding = [f for f in done.run.findings if f.severity is Severity.HOLDS_PART]
    assert holding == []
