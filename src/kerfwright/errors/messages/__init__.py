"""The catalogue of findings: code -> severity, sentence, cause, cure, from ``en.toml``.

A sentence is a format string over the finding's `params` plus ``measured``, ``limit``, ``unit``,
``file``, ``line``, ``contour``, ``sheet`` and ``xy``.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from kerfwright.errors.findings import Finding, Place, Severity
from kerfwright.errors.tree import UnknownNameError


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """What the catalogue says of one code."""

    code: str
    severity: Severity
    sentence: str
    cause: str
    cure: str


@cache
def load_catalogue(language: str = "en") -> dict[str, Entry]:
    """Return every entry of one language, by code, in the order of the file."""
    text = files(__package__).joinpath(f"{language}.toml").read_text(encoding="utf-8")
    rows = tomllib.loads(text)
    return {
        code: Entry(code=code, **row | {"severity": Severity(row["severity"])})
        for code, row in rows.items()
    }


def entry_of(code: str) -> Entry:
    """Return the entry of a code."""
    try:
        return load_catalogue()[code]
    except KeyError:
        msg = f"finding code {code} is not in the catalogue; add it to messages/en.toml"
        raise UnknownNameError(msg) from None


def sentence_of(finding: Finding) -> str:
    """Return what a person reads: place, value, limit, in one sentence."""
    return entry_of(finding.code).sentence.format_map(_values(finding))


def cure_of(finding: Finding) -> str:
    """Return what a person can do about it."""
    return entry_of(finding.cure or finding.code).cure.format_map(_values(finding))


def place_of(where: Place) -> str:
    """Return the place as a short text: file, line, sheet, contour, point."""
    return ", ".join(said for _, said in _place_parts(where)) or where.stage


def full_sentence_of(finding: Finding) -> str:
    """Return the sentence led by whatever of the place it does not name itself."""
    sentence = sentence_of(finding)
    missing = [said for core, said in _place_parts(finding.where) if core not in sentence]
    return f"{', '.join(missing)}: {sentence}" if missing else sentence


def _place_parts(where: Place) -> list[tuple[str, str]]:
    """Return each part of a place as (what a sentence would say of it, what is said alone)."""
    parts = []
    if where.file:
        parts.append((where.file, where.file))
    if where.page:
        parts.append((f"page {where.page}", f"page {where.page}"))
    if where.line:
        parts.append((f"line {where.line}", f"line {where.line}"))
    if where.sheet:
        parts.append((where.sheet, f"sheet {where.sheet}"))
    if where.contour:
        parts.append((f"contour {where.contour}", f"contour {where.contour}"))
    if where.xy_mm:
        core = "({:.3f}, {:.3f})".format(*where.xy_mm)
        parts.append((core, f"at {core} mm in the {where.frame} frame"))
    return parts


class _Number(float):
    """A float that prints with at most four decimals unless a format asks otherwise."""

    def __format__(self, spec: str) -> str:
        if spec:
            return super().__format__(spec)
        short = f"{float(self):.4f}"
        short = short.rstrip("0").rstrip(".") if "." in short else short
        return "0" if short == "-0" else short


def _values(finding: Finding) -> dict[str, object]:
    where = finding.where
    raw: dict[str, object] = {
        "measured": finding.measured,
        "limit": finding.limit,
        "unit": finding.unit,
        "file": where.file or "the input",
        "line": where.line,
        "contour": where.contour,
        "sheet": where.sheet,
        "xy": "({:.3f}, {:.3f})".format(*where.xy_mm) if where.xy_mm else "",
        **finding.params,
    }
    return {k: _Number(v) if isinstance(v, float) else v for k, v in raw.items()}
