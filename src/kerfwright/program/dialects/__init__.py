"""Dialects from TOML files beside this one; a file's name is the dialect's id and states traits.

A file gives any field of `Dialect` but ``id`` and ``c_zero_rad``, which people give in degrees as
``c_zero_deg``. In ``[words]`` a value stands for ``{value}`` or, for rates that the control wants
per minute, for ``{per_minute}``. Words beyond those of `Dialect`: ``path_mode``, one of G61,
G61.1 and G64, written after the other modes.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import fields
from importlib.resources import files
from typing import Any

from kerfwright.errors import ModelError, UnknownNameError
from kerfwright.geometry.record import require
from kerfwright.model.dialect import Dialect
from kerfwright.units import RAD_PER_DEG

# RS-274/NGC (NISTIR 6556, table 4) leaves these M words to the builder of the machine.
_FREE_M = frozenset((*range(10, 30), *range(31, 48), *range(61, 100)))
_STANDARD_M = {
    "tool": {6},
    "tool_off": {6},
    "spindle_on": {3, 4},
    "spindle_off": {5},
    "pause": {0, 1, 60},
    "end": {2, 30},
}
_WITH_VALUE = frozenset({"tool", "oscillation_on", "spindle_on", "vacuum_on", "vacuum_off"})
_WITHOUT_VALUE = frozenset({"tool_off", "oscillation_off", "spindle_off", "pause", "end"})
_PATH_MODES = frozenset({"G61", "G61.1", "G64"})
_WORD = re.compile(r"[A-Z](?:[0-9]+(?:\.[0-9]+)?|\{value\}|\{per_minute\})")


def dialect_ids() -> tuple[str, ...]:
    """Return the ids of all dialects, sorted."""
    names = (entry.name for entry in files(__package__).iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


def load_dialect(id: str) -> Dialect:  # noqa: A002 - the field of the model has this name
    """Return a dialect by its id.

    Parameters
    ----------
    id : str
        One of `dialect_ids`.

    Raises
    ------
    UnknownNameError
        If there is no such dialect.
    ModelError
        If its file names an unknown field or holds a word the grammar does not allow.
    """
    if id not in dialect_ids():
        msg = f"there is no dialect {id}; take one of {', '.join(dialect_ids())}"
        raise UnknownNameError(msg)
    text = files(__package__).joinpath(f"{id}.toml").read_text(encoding="utf-8")
    return dialect_from(tomllib.loads(text), name=id)


def dialect_from(row: dict[str, Any], *, name: str) -> Dialect:
    """Return the dialect a parsed file describes, every field and word checked."""
    row = dict(row)
    words = row.pop("words", {})
    zero_rad = float(row.pop("c_zero_deg", 0.0)) * RAD_PER_DEG
    known = {f.name for f in fields(Dialect)} - {"id", "c_zero_rad", "words"}
    strange = sorted(row.keys() - known)
    if strange:
        msg = f"dialect {name}: unknown field {strange[0]}; known are {', '.join(sorted(known))}"
        raise ModelError(msg)
    check_words(words, name=name)
    return Dialect(id=name, c_zero_rad=zero_rad, words=words, **row)


def check_words(words: dict[str, str], *, name: str) -> None:
    """Raise `ModelError` unless every word is one this project knows, in RS-274/NGC grammar."""
    known = _WITH_VALUE | _WITHOUT_VALUE | {"path_mode"}
    strange = sorted(words.keys() - known)
    require(not strange, f"dialect {name}: unknown word {strange}; known are {sorted(known)}")
    for needed in ("tool", "end"):
        require(needed in words, f"dialect {name}: the word for {needed} is missing")
    for key, text in words.items():
        if key == "path_mode":
            require(text in _PATH_MODES, f"dialect {name}: path_mode {text} is no G61, G61.1, G64")
        else:
            _check_word(text, key=key, where=f"dialect {name}: word {key} = {text!r}")


def _check_word(text: str, *, key: str, where: str) -> None:
    parts = text.split(" ")
    for part in parts:
        require(_WORD.fullmatch(part), f"{where}: {part!r} is no letter with a number or a value")
    letters = [part[0] for part in parts]
    require(len(set(letters)) == len(letters), f"{where}: a letter stands twice")
    require(letters.count("M") == 1, f"{where}: exactly one M word is needed")
    number = next(part for part in parts if part[0] == "M")[1:]
    require(number.isdigit(), f"{where}: the number of the M word must be given")
    allowed = _FREE_M | _STANDARD_M.get(key, set())
    require(int(number) in allowed, f"{where}: M{number} means something else in RS-274/NGC")
    values = text.count("{")
    require(values == (key in _WITH_VALUE), f"{where}: holds {values} values")
    require(not set(letters) & set("GNXYZABCIJKRF"), f"{where}: names an axis, a feed or a G word")
