"""What runs in the limited process: customers' pages made forms, one page put together.

The content of the page comes ready made and names what is put in its resources here: ``/F0``
and on for forms, ``/L0`` for layers, ``/I0`` for inks, ``/Over`` for overprint.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import pikepdf
from pikepdf import Array, Dictionary, Name

from kerfwright.errors import UnreadableError
from kerfwright.formats.pdf.page import mapped_box
from kerfwright.formats.print.art import PageForm, page_form
from kerfwright.formats.print.layers import default_states, ink_spaces, layer_group

_MOST_DECODED: Final = 256 << 20
_MOST_NESTED: Final = 100


def assemble(request: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Write the file to the path ``out`` and return what was left out of each page."""
    pikepdf.settings.set_qpdf_limits(
        flate_max_memory=_MOST_DECODED,
        run_length_max_memory=_MOST_DECODED,
        png_max_memory=_MOST_DECODED,
        tiff_max_memory=_MOST_DECODED,
        parser_max_nesting=_MOST_NESTED,
    )
    out = pikepdf.new()
    resources = Dictionary()
    forms = _place_forms(out, request["forms"], request["files"], frozenset(request["drop"]))
    if forms:
        resources.XObject = Dictionary({f"/F{i}": form for i, (form, _) in enumerate(forms)})
    _add_layers(out, resources, request["layers"])
    _add_page(out, resources, request)
    out.docinfo["/Title"] = request["title"]
    out.docinfo["/Producer"] = "Kerfwright"
    out.save(
        Path(request["out"]),
        min_version="1.7",
        deterministic_id=True,
        compress_streams=True,
        stream_decode_level=pikepdf.StreamDecodeLevel.none,
        object_stream_mode=pikepdf.ObjectStreamMode.disable,
    )
    said = [_said(page, made) for page, (_, made) in zip(request["forms"], forms, strict=True)]
    return {"pages": said}, {}


def _place_forms(
    out: pikepdf.Pdf,
    wanted: Sequence[Mapping[str, Any]],
    files: Sequence[str],
    drop: frozenset[str],
) -> list[tuple[Any, PageForm]]:
    opened: dict[int, pikepdf.Pdf] = {}
    forms = []
    for page in wanted:
        file, name = page["file"], page["name"]
        if file not in opened:
            opened[file] = _open(files[file], name)
        try:
            made = page_form(opened[file], page["page"], name=name, drop=drop)
            forms.append((out.copy_foreign(made.form), made))
        except pikepdf.PdfError as error:
            raise _damaged(name, error) from error
    return forms


def _open(path: str, name: str) -> pikepdf.Pdf:
    try:
        pdf = pikepdf.open(Path(path))
    except pikepdf.PasswordError:
        msg = f"{name}: the file wants a password; have it saved without one"
        raise UnreadableError(msg) from None
    except pikepdf.PdfError as error:
        raise _damaged(name, error) from error
    return pdf


def _damaged(name: str, error: Exception) -> UnreadableError:
    said = " ".join(str(error).split())[:200]
    return UnreadableError(f"{name}: the file is damaged ({said}); export it anew")


def _add_layers(
    out: pikepdf.Pdf, resources: Dictionary, layers: Sequence[Mapping[str, str]]
) -> None:
    if not layers:
        return
    groups = [layer_group(out, name=w["name"], step=w["step"]) for w in layers]
    out.Root.OCProperties = default_states(groups)
    spaces = ink_spaces([w["separation"] for w in layers])
    number = {ink: i for i, ink in enumerate(spaces)}
    resources.Properties = Dictionary({f"/L{i}": group for i, group in enumerate(groups)})
    resources.ColorSpace = Dictionary({f"/I{number[ink]}": spaces[ink] for ink in spaces})
    over = Dictionary(Type=Name.ExtGState, OP=True, op=True, OPM=1)
    resources.ExtGState = Dictionary(Over=over)


def _add_page(out: pikepdf.Pdf, resources: Dictionary, request: Mapping[str, Any]) -> None:
    page = Dictionary(
        Type=Name.Page,
        MediaBox=Array([*request["media"]]),
        BleedBox=Array([*request["media"]]),
        TrimBox=Array([*request["trim"]]),
        Resources=resources,
        Contents=out.make_stream(request["content"].encode("ascii")),
    )
    if request["user_unit"] != 1:
        page.UserUnit = request["user_unit"]
    out.pages.append(pikepdf.Page(out.make_indirect(page)))


def _said(page: Mapping[str, Any], made: PageForm) -> dict[str, Any]:
    reasons = sorted(made.left_out.items(), key=lambda item: (item[0].kind, item[0].name))
    return {
        "name": page["name"],
        "page": page["page"],
        "media_mm": [*mapped_box(made.frame.media, made.frame.mm_from_user)],
        "left_out": [[why.kind, why.name, count] for why, count in reasons],
        "notes": made.notes,
    }
