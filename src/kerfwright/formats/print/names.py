"""Names as they stand in content and as keys, as the text the reader gives them."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any, Final

from pikepdf import Dictionary

from kerfwright.formats.pdf import values

_ESCAPE: Final = re.compile(rb"#([0-9A-Fa-f]{2})")


def name_text(name: object) -> str:
    """Return a name's text; "" for anything but a name."""
    return values.name_text(name) or ""


def raw_name_text(raw: bytes) -> str:
    """Return the text of a name as it stands in content, with its slash; "" if it has none."""
    if not raw.startswith(b"/"):
        return ""
    return values.text_of(_ESCAPE.sub(lambda found: bytes([int(found[1], 16)]), raw[1:]))


def key_text(key: str) -> str:
    """Return the text of a dictionary's key; bytes that are no UTF-8 stand in it one by one."""
    return values.text_of(key.encode("utf-8", "surrogateescape")[1:])


def dictionary_of(items: Iterable[tuple[str, Any]]) -> Dictionary:
    """Return a dictionary of keys as another one gave them; its constructor takes UTF-8 only."""
    made = Dictionary()
    for key, value in items:
        made[key] = value
    return made
