"""Where marks go, what a picture shows of them, and how the sheet lies and stretched.

The names below are loaded when they are first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from kerfwright.registration.doubting import doubt_match
    from kerfwright.registration.finding import find_marks
    from kerfwright.registration.fitting import fit_sheet
    from kerfwright.registration.guessing import other_poses
    from kerfwright.registration.labels import check_label, read_labels
    from kerfwright.registration.looking import Seen, merge_found
    from kerfwright.registration.mapping import map_paths
    from kerfwright.registration.matching import match_marks
    from kerfwright.registration.next_look import next_view, no_view_finding
    from kerfwright.registration.on_bed import marks_on_bed
    from kerfwright.registration.photo_file import decode_photo
    from kerfwright.registration.placing import place_marks
    from kerfwright.registration.placing_reach import allowed_throw_rad
    from kerfwright.registration.rectify import Homography, fit_homography
    from kerfwright.registration.rigid import rigid_maps
    from kerfwright.registration.symmetry import layout_ambiguity
    from kerfwright.registration.verdicts import verdict

__all__ = [
    "Homography",
    "Seen",
    "allowed_throw_rad",
    "check_label",
    "decode_photo",
    "doubt_match",
    "find_marks",
    "fit_homography",
    "fit_sheet",
    "layout_ambiguity",
    "map_paths",
    "marks_on_bed",
    "match_marks",
    "merge_found",
    "next_view",
    "no_view_finding",
    "other_poses",
    "place_marks",
    "read_labels",
    "rigid_maps",
    "verdict",
]

_HOME = {
    "Homography": "kerfwright.registration.rectify",
    "Seen": "kerfwright.registration.looking",
    "allowed_throw_rad": "kerfwright.registration.placing_reach",
    "check_label": "kerfwright.registration.labels",
    "decode_photo": "kerfwright.registration.photo_file",
    "doubt_match": "kerfwright.registration.doubting",
    "find_marks": "kerfwright.registration.finding",
    "fit_homography": "kerfwright.registration.rectify",
    "fit_sheet": "kerfwright.registration.fitting",
    "layout_ambiguity": "kerfwright.registration.symmetry",
    "map_paths": "kerfwright.registration.mapping",
    "marks_on_bed": "kerfwright.registration.on_bed",
    "match_marks": "kerfwright.registration.matching",
    "merge_found": "kerfwright.registration.looking",
    "next_view": "kerfwright.registration.next_look",
    "no_view_finding": "kerfwright.registration.next_look",
    "other_poses": "kerfwright.registration.guessing",
    "place_marks": "kerfwright.registration.placing",
    "read_labels": "kerfwright.registration.labels",
    "rigid_maps": "kerfwright.registration.rigid",
    "verdict": "kerfwright.registration.verdicts",
}


def __getattr__(name: str) -> object:
    """Load a public name from the file that defines it."""
    if name not in _HOME:
        msg = f"kerfwright.registration has no {name}; it offers {', '.join(__all__)}"
        raise AttributeError(msg)
    return getattr(import_module(_HOME[name]), name)
