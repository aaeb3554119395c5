"""A page of a customer's file as one form, its matrix leading into the artwork frame [mm]."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import Any, Final

import pikepdf
from pikepdf import Array, Dictionary, Name

from kerfwright.errors import UnreadableError
from kerfwright.formats.notes import Notes
from kerfwright.formats.pdf.page import PageFrame, frame_of
from kerfwright.formats.pdf.values import inherited
from kerfwright.formats.print.content import ContentFilter, Pen, Surroundings, entries_of
from kerfwright.formats.print.inks import without_inks
from kerfwright.formats.print.names import dictionary_of, key_text, name_text
from kerfwright.formats.print.visibility import Visibility, Why, visibility_of

_DEEPEST: Final = 24
# entries of a form that say how its old bytes were packed, or lead back into the old file
_LEFT_BEHIND: Final = frozenset(
    f"/{key}"
    for key in (
        *("Length", "Filter", "DecodeParms", "DL", "OC", "Resources", "StructParent"),
        *("StructParents", "PieceInfo", "Metadata", "LastModified", "OPI", "Ref"),
    )
)
_REWRITTEN: Final = frozenset(("/XObject", "/Properties", "/Pattern", "/ExtGState", "/ColorSpace"))


@dataclass(frozen=True, slots=True, kw_only=True)
class PageForm:
    """A page made ready to be placed.

    Parameters
    ----------
    form : Stream
        Form XObject in the customer's file.
    frame : PageFrame
        Where it lies.
    left_out : Counter
        What was left out and how often.
    notes : int
        Annotations, which a form cannot carry.
    """

    form: Any
    frame: PageFrame
    left_out: Counter[Why]
    notes: int


def page_form(pdf: pikepdf.Pdf, number: int, *, name: str, drop: frozenset[str]) -> PageForm:
    """Return one page as a form.

    Raises
    ------
    UnreadableError
        If the file has no such page, or its forms contain themselves.
    """
    if not 1 <= number <= len(pdf.pages):
        msg = f"{name}: page {number} was asked for, the file has {len(pdf.pages)}"
        raise UnreadableError(msg)
    page = pdf.pages[number - 1].obj
    what = f"{name}: page {number}"
    frame = frame_of(page, scale=1.0, file=what, notes=Notes())
    maker = _Maker(pdf=pdf, what=what, visibility=visibility_of(pdf), drop=drop)
    resources = inherited(page, "/Resources")
    if not isinstance(resources, Dictionary):
        resources = Dictionary()
    head = Dictionary(
        Type=Name.XObject,
        Subtype=Name.Form,
        BBox=Array([*frame.media]),
        Matrix=Array([*frame.mm_from_user]),
    )
    if isinstance(page.get("/Group"), Dictionary):
        head.Group = page.Group
    form = maker.rewritten(page, head, resources, Pen())
    notes = page.get("/Annots")
    count = len(notes) if isinstance(notes, Array) else 0
    return PageForm(form=form, frame=frame, left_out=maker.left_out, notes=count)


@dataclass(slots=True, kw_only=True)
class _Maker:
    """Rewrites a page and all it calls, each form once for each pen it is called with."""

    pdf: pikepdf.Pdf
    what: str
    visibility: Visibility
    drop: frozenset[str]
    left_out: Counter[Why] = field(default_factory=Counter)
    _made: dict[tuple[object, ...], Any] = field(default_factory=dict)
    _open: list[tuple[int, int]] = field(default_factory=list)
    _callers: list[object] = field(default_factory=list)

    def rewritten(self, source: Any, head: Dictionary, resources: Any, pen: Pen) -> Any:  # noqa: ANN401
        """Return a new stream with the filtered content of a page, form or pattern."""
        calls = _Calls(taken=frozenset(entries_of(resources, "XObject")))
        around = Surroundings(
            resources=resources,
            visibility=self.visibility,
            drop=self.drop,
            form=lambda form, now: calls.name_of(self._form(form, resources, now, calls)),
            left_out=self.left_out,
        )
        content = ContentFilter(around, pen)
        _page_over(source).get_filtered_contents(content)
        new = self.pdf.make_stream(content.text)
        for key, value in head.items():
            new[key] = value
        new.Resources = self._resources(resources, calls, around.used)
        return new

    def _form(self, form: Any, resources: Any, pen: Pen, caller: object) -> Any:  # noqa: ANN401
        own = form.get("/Resources")
        has_own = isinstance(own, Dictionary)
        made_of = (form.objgen, pen, None if has_own else id(caller))
        if made_of in self._made:
            return self._made[made_of]
        if form.objgen in self._open:
            msg = f"{self.what} holds a form that contains itself; export the file anew"
            raise UnreadableError(msg)
        if len(self._open) >= _DEEPEST:
            msg = f"{self.what} holds forms nested deeper than {_DEEPEST}; flatten it"
            raise UnreadableError(msg)
        self._open.append(form.objgen)
        head = dictionary_of((k, v) for k, v in form.items() if k not in _LEFT_BEHIND)
        made = self.rewritten(form, head, own if has_own else resources, pen)
        self._open.pop()
        self._made[made_of] = made
        self._callers.append(caller)  # keeps its id from being given again
        return made

    def _resources(self, old: Any, calls: _Calls, used: set[tuple[str, str]]) -> Dictionary:  # noqa: ANN401
        """Return resources that hold what is used, rewritten, and nothing optional.

        Only what the content itself uses is followed: shared resources may hold the very
        pattern or mask that is being rewritten.
        """
        new = dictionary_of((k, v) for k, v in old.items() if k not in _REWRITTEN)
        kinds: dict[str, dict[str, Any]] = {"/XObject": dict(calls.forms)}
        for key, value in _items(old, "/XObject"):
            if _kind(value, "/Subtype") != "Form":
                if isinstance(value, pikepdf.Stream) and "/OC" in value:
                    del value["/OC"]  # what is still painted always prints
                kinds["/XObject"][key] = value
        kinds["/Properties"] = {k: v for k, v in _items(old, "/Properties") if not _is_optional(v)}
        kinds["/Pattern"] = {
            k: self._pattern(v, old, calls)
            for k, v in _items(old, "/Pattern")
            if ("Pattern", key_text(k)) in used
        }
        kinds["/ExtGState"] = {
            k: self._state(v, old, calls)
            for k, v in _items(old, "/ExtGState")
            if ("ExtGState", key_text(k)) in used
        }
        kinds["/ColorSpace"] = {
            k: v if ("ColorSpace", key_text(k)) in used else without_inks(v)
            for k, v in _items(old, "/ColorSpace")
        }
        for kind, entries in kinds.items():
            if entries:
                new[kind] = dictionary_of(entries.items())
        return new

    def _pattern(self, pattern: Any, resources: Any, caller: object) -> Any:  # noqa: ANN401
        is_tiling = isinstance(pattern, pikepdf.Stream) and pattern.get("/PatternType") == 1
        return self._form(pattern, resources, Pen(), caller) if is_tiling else pattern

    def _state(self, state: Any, resources: Any, caller: object) -> Any:  # noqa: ANN401
        mask = state.get("/SMask") if isinstance(state, Dictionary) else None
        if not isinstance(mask, Dictionary) or not isinstance(mask.get("/G"), pikepdf.Stream):
            return state
        group = self._form(mask["/G"], resources, Pen(), caller)
        new_mask = dictionary_of([*mask.items(), ("/G", group)])
        return dictionary_of([*state.items(), ("/SMask", new_mask)])


@dataclass(slots=True, kw_only=True)
class _Calls:
    """Forms one stream calls, under names its resources do not hold yet."""

    taken: frozenset[str]
    forms: dict[str, Any] = field(default_factory=dict)

    def name_of(self, form: Any) -> bytes:  # noqa: ANN401
        """Return the operand that calls a form."""
        for key, known in self.forms.items():
            if known.objgen == form.objgen:
                return key.encode()
        number = len(self.forms)
        while f"F{number}" in self.taken or f"/F{number}" in self.forms:
            number += 1
        self.forms[f"/F{number}"] = form
        return f"/F{number}".encode()


def _page_over(source: Any) -> pikepdf.Page:  # noqa: ANN401
    """Return a page whose contents are a stream's, for content is filtered by pages only."""
    if isinstance(source, pikepdf.Stream):
        return pikepdf.Page(Dictionary(Type=Name.Page, Contents=source))
    return pikepdf.Page(source)


def _items(resources: Any, key: str) -> list[tuple[str, Any]]:  # noqa: ANN401
    group = resources.get(key)
    return list(group.items()) if isinstance(group, Dictionary) else []


def _kind(value: Any, key: str) -> str:  # noqa: ANN401
    return name_text(value.get(key)) if isinstance(value, pikepdf.Stream) else ""


def _is_optional(value: Any) -> bool:  # noqa: ANN401
    return isinstance(value, Dictionary) and name_text(value.get("/Type")) in {"OCG", "OCMD"}
