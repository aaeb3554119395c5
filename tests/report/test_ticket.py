"""The ticket says everything it was given, on as many pages as it takes, in the same bytes."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
import segno
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.errors import Finding, ModelError, Place, Severity
from kerfwright.errors.messages import full_sentence_of
from kerfwright.report import CheckLine, OverrideLine, PartLine, TimeLine, ticket_pdf
from kerfwright.report.words import said_of, say
from report.reading import pages_of, picture_of, text_of
from report.samples import findings, part_line, picture, ticket

STATES = ("will_cut", "check", "will_not_cut", "needs_you")


@pytest.fixture(scope="module")
def data():
    return ticket()


@pytest.fixture(scope="module")
def pdf(data):
    return ticket_pdf(data)


@pytest.fixture(scope="module")
def text(pdf):
    return text_of(pdf)


def missing(text: str, wanted: list[str]) -> list[str]:
    squeezed = text.replace(" ", "")
    return [w for w in wanted if w.replace(" ", "") not in squeezed]


def test_every_word_and_number_of_the_head_is_on_the_first_page(pdf, data):
    first = pages_of(pdf)[0]
    wanted = [data.job_id, data.sheet_id, data.serial, data.title, data.table, data.material]
    wanted += ["3 mm nominal", "3.06 mm", data.made_on, "21 will cut", "1 check before cutting"]
    wanted += ["1 will not cut", "1 needs you", *(f"zone {k} " for k in (1, 2, 3, 4, 5, 6, 7))]
    assert missing(first, wanted) == []


def test_every_line_of_every_table_is_there(text, data):
    wanted = []
    for tool in data.tools:
        wanted += [tool.head, tool.tool, tool.card, *(f"{v.name} {v.value:g}" for v in tool.values)]
        wanted += [f"({v.low:g} to {v.high:g})" for v in tool.values]
    for line in data.operations:
        wanted += [line.operation, str(line.cuts), line.first, line.last]
        wanted.append(f"{line.length_mm / 1000.0:.3f}")
    wanted += [f"{t.low_s:.1f}" for t in data.times] + [t.cause for t in data.times]
    wanted += ["351.2", "372.4", "proven 2026-11-20 by KW", "not proven"]
    for part in data.parts:
        wanted += [part.part, part.reason, f"{part.limit_mm:.3f}"]
        if part.deviation_mm is not None:
            wanted += [f"{part.deviation_mm:.3f}", f"{part.low_mm:.3f} to {part.high_mm:.3f}"]
    for hold in data.holds:
        wanted += [f"{hold.load_n:.1f}", f"{hold.hold_n:.1f}", f"{hold.margin:.2f}", hold.when]
    for finding in data.findings:
        wanted += [finding.code, full_sentence_of(finding)]
    for file in data.files:
        wanted += [file.name, file.sha256[:16], str(file.size_bytes)]
    wanted += [c.result for c in data.checks] + [o.reason for o in data.overrides]
    wanted += ["1, 2, 3, 5, 6, 7", "KW", "0.400", "not done"]
    assert missing(text, wanted) == []
    assert data.files[0].sha256[:17] not in text


def test_cautions_stand_on_the_first_page_whatever_the_job(pdf):
    wanted = [*said_of("cautions").values(), *said_of("standards").values()]
    assert missing(pages_of(pdf)[0], wanted) == []


@pytest.mark.reference("numbers as on the pages of ISO, CEN, IEC, OSHA and NFPA; from memory")
def test_standards_are_cited_and_never_claimed(pdf):
    first = pages_of(pdf)[0]
    cited = ("ISO 12100", "ISO 19085-1", "EN 847-1", "ISO 13849-1", "ISO 13850", "IEC 60204-1")
    us = ("29 CFR 1910.147", "1910.212", "1910.95", "NFPA 660")
    assert missing(first, [*cited, *us, "no conformity with any of them is claimed"]) == []
    assert not re.search(r"complies|conforms|certified|compliant", first, flags=re.IGNORECASE)
    assert missing(first, ["manual of the machine, local codes", "licensed people"]) == []


def test_the_words_of_the_cautions_cover_all_dangers():
    whole = " ".join(said_of("cautions").values()).lower()
    asked = ("spinning cutters", "oscillating", "rotating blades", "pinch", "dust", "loud", "eye")
    asked += ("hearing", "air cut first", "emergency stop", "isolate", "guards", "licensed")
    assert [w for w in asked if w not in whole] == []


def test_pages_are_counted_and_name_the_sheet(pdf, data):
    pages = pages_of(pdf)
    for number, page in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in page
        assert data.serial in page


def test_same_data_same_bytes_and_no_clock(pdf, monkeypatch):
    monkeypatch.setattr("time.time", lambda: 4.0e9)
    assert ticket_pdf(ticket()) == pdf
    assert ticket_pdf(ticket(serial="S-000124")) != pdf
    assert b"2026" not in pdf.split(b"/Info")[-1]


def test_optional_parts_may_be_missing():
    bare = ticket(
        caliper_mm=None, tools=(), zones_on=(), operations=(), times=(), error_map=None, holds=(),
        findings=(), files=(), checks=(), overrides=(), label_text="", made_on="",
    )  # fmt: skip
    text = text_of(ticket_pdf(bare))
    wanted = ["not measured", "cut: none.", say("ticket", "no_findings")]
    assert missing(text, [*wanted, say("ticket", "no_overrides")]) == []
    assert say("ticket", "holds") not in text


def test_five_hundred_parts_run_over_pages_with_the_head_repeated():
    count = 500
    parts = tuple(part_line(k, STATES[k % 7 % 4]) for k in range(count))
    pdf = ticket_pdf(ticket(parts=parts, picture=picture(columns=25, rows=20), holds=()))
    pages = pages_of(pdf)
    with_rows = [p for p in pages if re.search(r"\bp\d+ (badge|arrow|panel|ring|plate|sign)\b", p)]
    assert len(pages) > 15
    assert sum("verdict and reason" in p for p in pages) == len(with_rows[:-1]) + (
        "verdict and reason" in with_rows[-1]
    )
    whole = " ".join(pages)
    assert [p.part for p in parts if p.part not in whole] == []
    assert len(pdf) < 2_000_000


def test_the_label_is_read_by_another_library():
    words = "KW1;spring-display-0417;sheet-1;S-000123;front"
    code = segno.make_qr(words, error="m")
    label = np.array([list(row) for row in code.matrix], bool)
    page = picture_of(ticket_pdf(ticket(label=label)), px_per_mm=8.0)
    found = zxingcpp.read_barcodes(np.ascontiguousarray(page))
    assert [f.text for f in found] == [words]


@given(
    texts=st.lists(st.text(max_size=60), min_size=6, max_size=6),
    state=st.sampled_from(STATES),
)
@settings(max_examples=6)
def test_any_letters_make_a_ticket(texts, state):
    words = [t + "." for t in texts]
    line = replace(part_line(3, state), part=words[0], reason=words[1])
    sample = ticket(
        title=words[2],
        job_id=words[3],
        label_text=words[4],
        parts=(line, *(part_line(k, "will_cut") for k in range(1, 24))),
        overrides=(OverrideLine(what=words[4], reason=words[5], initials="x"),),
        holds=(),
        error_map=None,
    )
    assert pages_of(ticket_pdf(sample))


HOSTILE = {
    "markup": "<b>bold</b> & <font size='99'>big</font> &amp; %s {0} \\n (a) )( \\",
    "control": "a\x00b\x07c\x1b[31m\x7f\ud800\nnew\tline\r\n",
    "right to left": "\u202eevil\u202c \u05e9\u05dc\u05d5\u05dd \u0645\u0631\u062d\u0628\u0627",
    "very long word": "W" * 20_000,
    "very long text": "word " * 20_000,
    "accents": "\u0141\u00f3d\u017a \u0150r \u010ce\u0161tina \u20ac 1\u00bd \u00b5m \u2264 5",
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_do_not_break_the_page(name):
    bad = HOSTILE[name]
    data = ticket(
        job_id=bad, sheet_id=bad, serial=bad, title=bad, table=bad, material=bad, label_text=bad,
        made_on=bad, parts=tuple(replace(p, part=bad, reason=bad) for p in ticket().parts),
        findings=(
            Finding(
                code="ART-110",
                severity=Severity.BLOCKS,
                where=Place(stage="artwork", file=bad),
                params={"layer": bad, "colour": "none", "names": bad, "count": 1},
            ),
        ),
    )  # fmt: skip
    pdf = ticket_pdf(data)
    assert pages_of(pdf)
    assert ticket_pdf(data) == pdf


def test_markup_is_shown_as_it_is():
    assert "<b>bold</b> & <i>" in text_of(ticket_pdf(ticket(title="<b>bold</b> & <i>")))


def test_replaced_letters_are_said():
    text = text_of(ticket_pdf(ticket(title="\u05e9 Shop \u0150 \x07")))
    assert missing(text, ["? Shop O ?", "U+05E9 hebrew letter shin as ?", "U+0007"]) == []
    assert "U+0150 latin capital letter o with double acute as O" in text
    assert say("ticket", "letters") not in text_of(ticket_pdf(ticket()))


def test_upper_times_as_shown_add_up_to_the_total_as_shown():
    times = tuple(TimeLine(cause=f"cause {k}", low_s=0.0, high_s=10.0 / 3.0) for k in range(9))
    whole = text_of(ticket_pdf(ticket(times=times, time_low_s=12.0, time_high_s=30.0)))
    shown = [float(v) for v in re.findall(r"cause \d 0\.0 (\d+\.\d)", whole)]
    assert len(shown) == 9
    assert sum(shown) == pytest.approx(30.0, abs=1e-9)


def test_findings_come_gravest_first():
    text = text_of(ticket_pdf(ticket(findings=findings()[::-1])))
    assert text.index("ART-110") < text.index("JOB-110")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"time_high_s": 400.0}, "add up to"),
        ({"time_low_s": 500.0}, "time from 500.0"),
        ({"thickness_mm": float("nan")}, "finite"),
        ({"label": np.zeros((3, 4), bool)}, "must be square"),
        ({"parts": ()}, "a row of the 0 parts"),
    ],
)
def test_a_ticket_that_contradicts_itself_is_refused(change, words):
    with pytest.raises(ModelError, match=words):
        ticket(**change)


def test_lines_that_make_no_sense_are_refused():
    with pytest.raises(ModelError, match="only needs_you may have none"):
        PartLine(part="p1", state="check", limit_mm=0.5)
    with pytest.raises(ModelError, match="must be one of will_cut"):
        PartLine(part="p1", state="maybe", limit_mm=0.5)
    with pytest.raises(ModelError, match="initials are missing"):
        OverrideLine(what="p1", reason="seen", initials=" ")
    with pytest.raises(ModelError, match="must be one of passed"):
        CheckLine(what="read back", result="", state="well")
