"""Bad input ends in its exit code and one sentence; nothing is overwritten, nothing is lost."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest

from kerfwright.job.store import FolderStore

CASES = tomllib.loads(Path(__file__).with_name("bad_input.toml").read_text("utf-8"))["case"]
NAMES = [case["name"] for case in CASES]


def check_sentence(said, words) -> None:
    """One sentence on standard error, of the tree, with the given words."""
    lines = said.err.splitlines()
    assert len(lines) == 1, said.err
    assert lines[0].startswith("kerfwright: ")
    assert "Traceback" not in said.err
    assert "a defect of kerfwright" not in said.err
    assert [w for w in words if w not in said.err] == [], said.err


def check_finding(said, code, words) -> None:
    """A JSON document whose findings block, one of them the one that was expected."""
    assert said.err == ""
    document = json.loads(said.out)
    grave = [f for f in document["findings"] if f["severity"] in ("blocks", "holds_part")]
    assert grave, document
    if code is not None:
        grave = [f for f in grave if f["code"] == code]
        assert grave, [f["code"] for f in document["findings"]]
    sentence = grave[0]["sentence"]
    assert [w for w in words if w not in sentence] == [], sentence
    assert "\n" not in sentence
    assert grave[0]["cure"]
    assert grave[0]["place"]
    assert "None" not in sentence
    assert document.get("files", []) == []


def prepare(place, case) -> list[str]:
    """Draw and return what `new` is called with."""
    if "drawing" in case:
        place.draw(case["drawing"])
    options = [option.replace("{long}", "n" * 300) for option in case.get("new", [])]
    artwork = [] if "--artwork" in options else ["--artwork", "order.dxf"]
    return ["new", case.get("job", "order"), *artwork, *options]


@pytest.mark.parametrize("case", CASES, ids=NAMES)
def test_bad_input(place, case):
    words, at = case.get("says", []), case.get("at", "then")
    command = prepare(place, case)
    before = place.files()
    if at == "then":
        made = place.call(*command)
        assert (made.code, made.err) == (0, ""), made
        if case.get("planned"):
            assert place.call("plan", "order").code == 0
    if at != "new":
        verb, *options = case.get("then", ["plan"])
        job = case.get("ask", "kept" if at == "kept" else "order")
        command = [verb, job, *options, "--json"]
    said = place.call_with_room(command, case.get("limit_bytes"))
    assert said.code == case["code"], said
    if case["code"] == 1:
        check_finding(said, case.get("finding"), words)
    else:
        check_sentence(said, words)
        document = json.loads(said.out) if "--json" in command else {}
        assert document.get("exit_code", case["code"]) == case["code"]
    check_nothing_is_lost(place, before, made=at == "then")


def check_nothing_is_lost(place, before, *, made) -> None:
    after = place.files()
    assert {name: after.get(name) for name in before} == before, "what stood there stands there"
    fresh = [name for name in after if name not in before]
    assert [name for name in fresh if not name.startswith("shop/")] == []
    assert [name for name in fresh if Path(name).name.startswith(".")] == [], "half a file is left"
    store = FolderStore(place.folder / "shop")
    jobs = ("kept", "order") if made else ("kept",)
    assert store.job_ids() == jobs
    for job_id in jobs:
        job = store.load_job(job_id)
        for result in job.results.values():
            assert store.get_blob(result.blob), "a result that is shown is whole"


def test_the_table_names_every_kind_of_bad_input_once():
    assert len(set(NAMES)) == len(NAMES) >= 75
    assert {case["code"] for case in CASES} == {1, 2, 3, 4}
