"""The command line as a user meets it: a whole job, and every kind of bad input."""

from __future__ import annotations

import json
import resource
import subprocess
import sys

import ezdxf
import pytest


def run(folder, *args, limit_bytes=None):
    """Run the command in a folder; return exit code, standard output and error."""

    def less_room():
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit_bytes, limit_bytes))

    done = subprocess.run(
        [sys.executable, "-m", "kerfwright.cli.main", *args],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=less_room if limit_bytes else None,
    )
    assert "Traceback" not in done.stderr
    return done.returncode, done.stdout, done.stderr


def draw(path, *, units=4, size=80.0, layer="outline", hole=8.0):
    doc = ezdxf.new("R2010", units=units)
    doc.header["$MEASUREMENT"] = 1
    space = doc.modelspace()
    corners = [(0, 0), (size, 0), (size, size), (0, size)]
    space.add_lwpolyline(corners, close=True, dxfattribs={"layer": layer})
    space.add_circle((size / 2, size / 2), hole, dxfattribs={"layer": "holes"})
    doc.saveas(path)
    return path


def test_a_drawing_goes_to_a_checked_program(tmp_path):
    draw(tmp_path / "plate.dxf")
    assert run(tmp_path, "new", "plate", "--artwork", "plate.dxf")[0] == 0
    code, out, _ = run(tmp_path, "handover", "plate", "--out", "out", "--json")
    summary = json.loads(out)
    assert code == 0
    assert summary["verify"]["passed"]
    assert summary["verify"]["air_cuts_nothing"]
    assert summary["plan"]["contours_cut"] == 2
    names = sorted(p.name for p in (tmp_path / "out").iterdir())
    assert names == ["program-air.nc", "program.nc", "summary.json"]
    program = tmp_path / "out" / "program.nc"
    assert run(tmp_path, "verify", "plate", "--program", str(program))[0] == 0

    lines = program.read_text(encoding="ascii").splitlines()
    cut = [n for n, text in enumerate(lines) if text.startswith("G1 Z-")]
    lines[cut[0]] = "G1 Z2.0000 F3600"
    (tmp_path / "shallow.nc").write_text("\n".join(lines) + "\n", encoding="ascii")
    code, out, _ = run(tmp_path, "verify", "plate", "--program", "shallow.nc", "--json")
    assert code == 1
    assert any(f["severity"] in ("blocks", "holds_part") for f in json.loads(out)["findings"])
    (tmp_path / "broken.nc").write_text("G21\nG1 X1e3\nM2\n", encoding="ascii")
    code, _, err = run(tmp_path, "verify", "plate", "--program", "broken.nc")
    assert code == 3
    assert "line 2" in err

    before = program.read_bytes()
    code, _, err = run(tmp_path, "handover", "plate", "--out", "plate.dxf")
    assert code == 4
    assert len(err.splitlines()) == 1
    code, _, err = run(tmp_path, "handover", "plate", "--out", "out", limit_bytes=64)
    assert code == 4
    assert program.read_bytes() == before


@pytest.mark.parametrize(
    ("name", "content", "code", "said"),
    [
        ("missing.dxf", None, 3, "missing.dxf"),
        ("empty.dxf", b"", 3, "empty"),
        ("junk.dxf", bytes(range(256)) * 40, 3, "junk.dxf"),
        ("text.dxf", b"hello\n" * 50, 3, "text.dxf"),
    ],
)
def test_what_is_no_drawing_ends_in_one_sentence(tmp_path, name, content, code, said):
    if content is not None:
        (tmp_path / name).write_bytes(content)
    found, _, err = run(tmp_path, "new", "j", "--artwork", name)
    if found == 0:
        found, _, err = run(tmp_path, "check", "j")
    assert found == code
    assert len(err.splitlines()) == 1
    assert said in err


def test_a_truncated_drawing_is_refused_or_read_with_a_word(tmp_path):
    whole = draw(tmp_path / "whole.dxf").read_bytes()
    (tmp_path / "half.dxf").write_bytes(whole[: len(whole) // 2])
    run(tmp_path, "new", "j", "--artwork", "half.dxf")
    code, out, err = run(tmp_path, "check", "j")
    assert code in (1, 3)
    assert out or len(err.splitlines()) == 1


@pytest.mark.parametrize(
    ("drawing", "options", "finding"),
    [
        ({"units": 0}, (), "DXF-101"),
        ({"size": 3000.0}, (), "JOB-110"),
        ({"size": 3000.0}, ("--sheet", "4000x3500"), "JOB-111"),
        ({"layer": "mystery"}, (), "ART-110"),
        ({"hole": 0.2}, ("--units", "mm"), "held"),
    ],
)
def test_what_is_wrong_with_a_job_is_a_finding(tmp_path, drawing, options, finding):
    draw(tmp_path / "d.dxf", **drawing)
    assert run(tmp_path, "new", "j", "--artwork", "d.dxf", *options)[0] == 0
    code, out, _ = run(tmp_path, "plan", "j", "--json")
    summary = json.loads(out)
    if finding == "held":
        assert summary["plan"]["contours_held"] or code == 1
    else:
        assert code == 1
        assert finding in [f["code"] for f in summary["findings"] if f["severity"] == "blocks"]
        assert "program" not in summary["reached"]


@pytest.mark.parametrize(
    "args",
    [
        ("check", "nobody"),
        ("new", "../out", "--artwork", "d.dxf"),
        ("new", "j", "--artwork", "d.dxf", "--sheet", "wide"),
        ("new", "j", "--artwork", "d.dxf", "--units", "furlong"),
        ("new", "j", "--artwork", "d.dxf", "--table", "none"),
        ("new", "j", "--artwork", "d.dxf", "--every-line", "burn"),
        ("new", "j"),
        ("fly",),
    ],
)
def test_wrong_use_ends_with_code_2(tmp_path, args):
    draw(tmp_path / "d.dxf")
    code, _, err = run(tmp_path, *args)
    assert code == 2
    assert err.strip()
