"""From a file to its elements: packed or plain, guarded against what XML can do to a reader.

No entity is expanded, no other file is read, nothing is fetched; elements within elements are
limited by the parser. A file that declares entities is refused: whatever they stand for, a drawing
does without them.
"""

from __future__ import annotations

import re
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from lxml import etree  # type: ignore[import-untyped]

from kerfwright.errors import OutOfResourcesError, UnreadableError
from kerfwright.formats.limits import ReadLimits
from kerfwright.formats.notes import Notes
from kerfwright.formats.text import name_of, printable

SVG: Final = "http://www.w3.org/2000/svg"
XLINK: Final = "http://www.w3.org/1999/xlink"
GZIP: Final = b"\x1f\x8b"

Element = Any
"""An element of lxml, which has no types of its own."""

_GZIP_WINDOW: Final = 31
_MOST_SAID: Final = 160
_HUGE: Final = ("Excessive depth", "use XML_PARSE_HUGE", "too long", "too large", "Maximum entity")
_SHEET: Final = "xml-stylesheet"
_ENTITY: Final = re.compile(rb"<!ENTITY\s+(?:%\s+)?([^\s>]{1,60})")


@dataclass(frozen=True, slots=True)
class Tree:
    """The elements of a file.

    Parameters
    ----------
    root : element
        The outermost ``svg``.
    ids : dict
        Elements by id; of several the first.
    count : int
        How many elements there are.
    """

    root: Element
    ids: dict[str, Element]
    count: int


def load(path: Path, *, file: str, limits: ReadLimits, notes: Notes) -> Tree:
    """Return the elements of a file.

    Raises
    ------
    UnreadableError
        If it is no sound XML, no SVG, or declares entities.
    OutOfResourcesError
        If a limit was reached.
    """
    data = path.read_bytes()
    if data.startswith(GZIP):
        data = unpacked(data, file=file, limits=limits)
    return parse(data, file=file, limits=limits, notes=notes)


def unpacked(data: bytes, *, file: str, limits: ReadLimits) -> bytes:
    """Return what a gzip stream holds."""
    engine = zlib.decompressobj(wbits=_GZIP_WINDOW)
    try:
        plain = engine.decompress(data, limits.decoded_bytes)
    except zlib.error as error:
        msg = f"{file}: the packed drawing is damaged ({error}); have it sent again"
        raise UnreadableError(msg) from error
    if engine.unconsumed_tail:
        msg = (
            f"{file}: the packed drawing holds more than {limits.decoded_bytes} bytes, which is "
            "the limit; leave out what is not cut, or raise the limit"
        )
        raise OutOfResourcesError(msg)
    if not engine.eof:
        msg = f"{file}: the packed drawing is cut short; have it sent again"
        raise UnreadableError(msg)
    return plain


def parse(data: bytes, *, file: str, limits: ReadLimits, notes: Notes) -> Tree:
    """Return the elements of plain XML; see `load`."""
    parser = etree.XMLParser(
        resolve_entities=False,
        no_network=True,
        load_dtd=False,
        huge_tree=False,
        remove_comments=True,
    )
    try:
        root = etree.fromstring(data, parser)
    except etree.XMLSyntaxError as error:
        if names := [name_of(n.decode(errors="replace")) for n in _ENTITY.findall(data)]:
            raise _entities(names, file) from error
        raise _refusal(error, file) from error
    dtd = root.getroottree().docinfo.internalDTD
    if dtd is not None and (names := [name_of(str(e.name)) for e in dtd.iterentities()]):
        raise _entities(names, file)
    if local_name(root) != "svg":
        name = printable(str(root.tag))[:60]
        msg = f"{file}: this is an XML file, but no SVG drawing: its outermost element is {name}"
        raise UnreadableError(msg)
    if not str(root.tag).startswith("{"):
        notes.count("SVG-108", "svg without its namespace")
    _note_instructions(root, notes)
    return _indexed(root, file=file, limits=limits)


def _refusal(error: etree.XMLSyntaxError, file: str) -> UnreadableError | OutOfResourcesError:
    line, column = error.position
    said = printable(str(error.msg)).partition(f", line {line}")[0][:_MOST_SAID]
    if any(word in said for word in _HUGE):
        msg = (
            f"{file}: line {line}, column {column}: more than a reader may be asked for ({said}); "
            "have groups within groups, or very long entries, taken apart"
        )
        return OutOfResourcesError(msg)
    msg = (
        f"{file}: line {line}, column {column}: this is no sound XML ({said}); have the drawing "
        "exported anew"
    )
    return UnreadableError(msg)


def _entities(names: list[str], file: str) -> UnreadableError:
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    shown = ", ".join(name[:40] for name in names[:3])
    msg = (
        f"{file}: the file declares entities ({shown}{more}), which are never expanded because "
        "they can hide or multiply anything; have it saved as plain SVG"
    )
    return UnreadableError(msg)


def _note_instructions(root: Element, notes: Notes) -> None:
    """Say which style sheets outside are not fetched."""
    before = root.getprevious()
    while before is not None:
        if getattr(before, "target", "") == _SHEET:
            notes.count("SVG-136", printable(before.get("href") or "a style sheet")[:60])
        before = before.getprevious()


def _indexed(root: Element, *, file: str, limits: ReadLimits) -> Tree:
    ids: dict[str, Element] = {}
    count = 0
    for element in root.iter(etree.Element):
        count += 1
        name = element.get("id")
        if name:
            ids.setdefault(name, element)
    if count > limits.entities:
        msg = (
            f"{file}: the drawing has {count} elements, limit {limits.entities}; leave out what is "
            "not cut, or raise the limit"
        )
        raise OutOfResourcesError(msg)
    return Tree(root, ids, count)


def local_name(element: Element) -> str:
    """Return the name of an element of SVG, empty for one of something else.

    Elements without any namespace count where the outermost has none either.
    """
    tag = element.tag
    if not isinstance(tag, str):
        return ""
    if tag[:1] != "{":
        root = element.getroottree().getroot().tag
        return tag if not str(root).startswith("{") else ""
    space, _, name = tag[1:].partition("}")
    return name if space == SVG else ""


def bare_name(element: Element) -> str:
    """Return the name of any element without its namespace, fit to be printed."""
    tag = element.tag
    return printable(tag.rpartition("}")[2])[:40] if isinstance(tag, str) else "entity"


def place_of(element: Element) -> str:
    """Return where an element stands, for messages: ``path#a1, line 12``."""
    name = element.get("id")
    label = f"#{name_of(name)[:40]}" if name else ""
    return f"{bare_name(element)}{label}, line {element.sourceline}"


def href_of(element: Element) -> str | None:
    """Return what an element refers to: ``href`` of SVG 2 before that of XLink."""
    own = element.get("href")
    found = own if own is not None else element.get(f"{{{XLINK}}}href")
    return None if found is None else str(found).strip()
