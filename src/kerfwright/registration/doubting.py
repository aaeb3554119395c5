"""Whether a match of few marks is to be believed, from the marks that are not where it has them."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from kerfwright.errors import Finding, Severity
from kerfwright.geometry.record import F64
from kerfwright.model.marks import MarkLayout, MarkMatch, Photo
from kerfwright.registration.matching_words import said

LEAST_MISSED = 2
"""Marks that were not where a match has them before it is doubted."""
_SLACK_MM = 10.0
"""Room around a mark at which it is surely in the picture, whatever the print did."""


def is_doubtful(match: MarkMatch, looked_for: Collection[int]) -> bool:
    """Return whether a match has as many marks missing where one looked as it has found.

    Parameters
    ----------
    match : MarkMatch
        Which is which.
    looked_for : collection of int
        Nominal marks that should have been seen if the match is right.
    """
    found = set(match.pairs[:, 1].tolist())
    missed = len(set(looked_for) - found)
    return missed >= LEAST_MISSED and missed >= len(found)


def doubt_match(
    match: MarkMatch, marks: MarkLayout, photos: Sequence[Photo]
) -> tuple[Finding, ...]:
    """Return a finding where pictures lack as many marks as were found.

    Parameters
    ----------
    match : MarkMatch
        Which is which; one without pairs says so itself.
    marks : MarkLayout
        Marks of the sheet.
    photos : sequence of Photo
        Pictures taken.
    """
    if not len(match.pairs):
        return ()
    ought = _in_some_picture(match, marks, photos)
    if not is_doubtful(match, ought):
        return ()
    found = len(match.pairs)
    wanted = len(set(ought) | set(match.pairs[:, 1].tolist()))
    return (said("LOK-131", Severity.BLOCKS, float(found), float(wanted)),)


def _in_some_picture(match: MarkMatch, marks: MarkLayout, photos: Sequence[Photo]) -> list[int]:
    place = marks.xy @ match.table_from_sheet[:, :2].T + match.table_from_sheet[:, 2]
    inside = np.zeros(len(place), bool)
    for photo in photos:
        inside |= _inside(photo, place, marks.diameter_mm / 2.0 + _SLACK_MM)
    return [int(k) for k in np.flatnonzero(inside)]


def _inside(photo: Photo, place: F64, room_mm: float) -> np.ndarray:
    px, room = photo.image_from_table(place), room_mm * photo.px_per_mm
    last = np.array(photo.size_px) - 1.0
    return np.asarray(((px >= room) & (px <= last - room)).all(axis=1))
