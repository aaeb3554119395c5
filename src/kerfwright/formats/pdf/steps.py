"""Processing steps of ISO 19593-1: which names it has, and what a layer declares.

Names of the 2018 edition; of the draft of the next one only what open models of the PDF object
tree already list (``Primer``, ``PlateMaking``). The standard itself was not seen.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from kerfwright.formats.pdf.values import entry, is_dictionary, name_text

_STRUCTURAL: Final = (
    "Cutting", "PartialCutting", "ReversePartialCutting", "Creasing", "ReverseCreasing",
    "CuttingCreasing", "ReverseCuttingCreasing", "PartialCuttingCreasing",
    "ReversePartialCuttingCreasing", "Drilling", "Gluing", "FoilStamping", "ColdFoilStamping",
    "Embossing", "Debossing", "Perforating", "Bleed", "VarnishFree", "InkFree", "InkVarnishFree",
    "Folding", "Punching", "Stapling",
)  # fmt: skip
TYPES_OF_GROUP: Final[dict[str, tuple[str, ...]]] = {
    "Structural": _STRUCTURAL,
    "Positions": ("Hologram", "Barcode", "ContentArea", "CodingMarking", "Imprinting"),
    "Dimensions": (),
    "Braille": (),
    "Legend": (),
    "White": (),
    "Varnish": (),
    "Primer": (),
    "PlateMaking": ("StationInfo", "PlateStamping", "OverstepArea", "Cutting", "Bleed", "NoMark"),
}
"""Types of each group; a group without types takes none."""

_OTHER_SPELLING: Final = {"Position": "Positions"}
_CUSTOM: Final = re.compile(r"[A-Za-z0-9]{2,}_.+")


@dataclass(frozen=True, slots=True)
class Step:
    """What a layer declares.

    Parameters
    ----------
    text : str
        ``Group/Type``, or ``Group`` where it has no types; empty when nothing usable is declared.
    code : str
        Code of what is wrong with it, empty when nothing is.
    fault : str
        That in words.
    """

    text: str = ""
    code: str = ""
    fault: str = ""


NO_STEP: Final = Step()


def step_of(group_dictionary: object) -> Step:
    """Return the step an optional content group declares.

    Parameters
    ----------
    group_dictionary : pikepdf.Object
        Dictionary of the group.
    """
    metadata = entry(group_dictionary, "/GTS_Metadata")
    if metadata is None:
        return NO_STEP
    if not is_dictionary(metadata):
        return Step(code="PDF-121", fault="GTS_Metadata is no dictionary")
    group, kind = (entry(metadata, f"/GTS_ProcSteps{part}") for part in ("Group", "Type"))
    if group is None and kind is None:
        return NO_STEP  # metadata of something else
    name, kind_name = name_text(group), name_text(kind)
    if not name:
        return Step(code="PDF-121", fault="the group is missing or is no name")
    if kind is not None and not kind_name:
        return Step(code="PDF-121", fault=f"the type of {name} is no name")
    return _checked(name, kind_name or "")


def _checked(group: str, kind: str) -> Step:
    said = f"{group}/{kind}" if kind else group
    if group in _OTHER_SPELLING:
        right = _OTHER_SPELLING[group]
        inner = _checked(right, kind)
        return inner if inner.code else Step(inner.text, "PDF-122", f"{said} for {inner.text}")
    if group not in TYPES_OF_GROUP:
        return Step(said, "PDF-123", f"{said} ({_kind_of_name(group)})")
    types = TYPES_OF_GROUP[group]
    if types and not kind:
        return Step(code="PDF-121", fault=f"{group} without a type")
    if kind and not types:
        return Step(group, "PDF-121", f"{group} with a type, {kind}, though it has none")
    if kind and kind not in types:
        return Step(said, "PDF-123", f"{said} ({_kind_of_name(kind)})")
    return Step(said)


def _kind_of_name(name: str) -> str:
    return "a name of its own" if _CUSTOM.fullmatch(name) else "not in the standard"
