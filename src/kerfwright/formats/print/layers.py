"""Layers for cut lines: optional content with an ISO 19593-1 step, inks set to overprint."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import pikepdf
from pikepdf import Array, Dictionary, Name

from kerfwright.formats.pdf.steps import TYPES_OF_GROUP

_OF_A_DRAFT: Final = frozenset(("Primer", "PlateMaking"))  # read, not written
STEPS: Final = {g: t for g, t in TYPES_OF_GROUP.items() if g not in _OF_A_DRAFT}
"""Types of each group; a group without types stands alone."""
NO_INKS: Final = frozenset(("All", "None", "Cyan", "Magenta", "Yellow", "Black"))
"""Names an ink of a step must not have."""
_SHOWN_AS: Final = ((0.0, 1.0, 0.0, 0.0), (1.0, 0.0, 0.0, 0.0), (0.0, 0.5, 1.0, 0.0))


def is_step(step: str) -> bool:
    """Return whether a step is one of the standard: ``Structural/Cutting``, ``White``."""
    group, _, kind = step.partition("/")
    types = STEPS.get(group)
    if types is None:
        return False
    return kind in types if types else step == group


def layer_group(pdf: pikepdf.Pdf, *, name: str, step: str) -> Any:  # noqa: ANN401
    """Return a new optional content group that carries a step and is not meant to print."""
    group, _, kind = step.partition("/")
    data = Dictionary(GTS_ProcStepsGroup=Name("/" + group))
    if kind:
        data.GTS_ProcStepsType = Name("/" + kind)
    return pdf.make_indirect(
        Dictionary(
            Type=Name.OCG,
            Name=pikepdf.String(name),
            GTS_Metadata=data,
            Usage=Dictionary(Print=Dictionary(PrintState=Name.OFF)),
        )
    )


def default_states(groups: Sequence[Any]) -> Dictionary:
    """Return optional content properties in which every group is on, and off in print."""
    rule = Dictionary(Event=Name.Print, Category=Array([Name.Print]), OCGs=Array([*groups]))
    default = Dictionary(
        Name=pikepdf.String("Layers"),
        BaseState=Name.ON,
        ON=Array([*groups]),
        OFF=Array([]),
        Order=Array([*groups]),
        AS=Array([rule]),
    )
    return Dictionary(OCGs=Array([*groups]), D=default)


def ink_spaces(names: Sequence[str]) -> Mapping[str, Array]:
    """Return a Separation space for each ink, in the order they come."""
    spaces = {}
    for i, name in enumerate(dict.fromkeys(names)):
        tint = Dictionary(
            FunctionType=2,
            Domain=Array([0, 1]),
            C0=Array([0, 0, 0, 0]),
            C1=Array([*_SHOWN_AS[i % len(_SHOWN_AS)]]),
            N=1,
        )
        spaces[name] = Array([Name.Separation, Name("/" + name), Name.DeviceCMYK, tint])
    return spaces
