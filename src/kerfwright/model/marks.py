"""Registration marks: where they shall be, what a picture shows, and which is which."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from kerfwright.errors import Finding
from kerfwright.geometry.paths import PathSet, empty_paths
from kerfwright.geometry.record import F64, I64, Record, frozen_array, require
from kerfwright.model._checks import require_finite, require_rows


class MarkKind(StrEnum):
    """What a mark looks like."""

    DOT = "dot"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MarkLayout(Record):
    """N marks on a nominal sheet.

    Parameters
    ----------
    sheet : str
        Id of the sheet.
    xy : ndarray of shape (N, 2), float
        Centres in the sheet frame; row 0 is the one shown to the camera first [mm].
    diameter_mm : float
        Printed diameter [mm].
    quiet_mm : float
        Width around each mark that stays free of ink and cuts [mm].
    kind : MarkKind
        What they look like.
    id : str
        Name of this set of places, printed with the sheet.
    ambiguity : int
        Most marks that another placement (turned, shifted, scaled a little, and mirrored where
        the sheet may lie face down) puts onto marks.
    losses_tolerated : int
        Marks that may be lost with the labels still certain: N - ambiguity - 1.
    worst_sd_mm : float
        Greatest standard deviation of the fitted sheet over all parts [mm].
    zones : PathSet
        Closed places, one per mark, that parts keep out of [mm].
    findings : tuple of Finding
        What placing found.
    """

    sheet: str
    xy: F64
    diameter_mm: float
    quiet_mm: float
    kind: MarkKind = MarkKind.DOT
    id: str
    ambiguity: int
    losses_tolerated: int
    worst_sd_mm: float
    zones: PathSet = field(default_factory=empty_paths)
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        frozen_array(self, "xy", dtype=np.float64, shape=(None, 2))
        require_finite(self)
        for name in ("diameter_mm", "quiet_mm"):
            value = getattr(self, name)
            require(value > 0.0, f"MarkLayout.{name} is {value}, must be above 0")
        count = len(self.xy)
        require(count >= 1, "MarkLayout holds 0 marks, least is 1")
        most = self.ambiguity
        require(1 <= most <= count, f"MarkLayout.ambiguity is {most}, must be from 1 to {count}")
        lost = self.losses_tolerated
        require(
            lost == count - most - 1,
            f"MarkLayout.losses_tolerated is {lost}, {count} marks at ambiguity {most} allow "
            f"{count - most - 1}",
        )
        require(self.worst_sd_mm >= 0.0, "MarkLayout.worst_sd_mm must not be below 0")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Photo(Record):
    """One picture and where it was taken.

    Parameters
    ----------
    image_sha : str
        Hash of the stored picture (PNG, grey, 8 or 16 bit).
    camera_xy_mm : ndarray of shape (2,), float
        Where the optical axis met the sheet's face, table frame [mm].
    px_per_mm : float
        Scale at the sheet's face [px/mm].
    turn_rad : float
        Turn of the picture's x axis from the table's x axis [rad].
    size_px : tuple of int
        Width and height [px].
    taken_at : str
        When, ISO 8601.
    """

    image_sha: str
    camera_xy_mm: F64
    px_per_mm: float
    turn_rad: float = 0.0
    size_px: tuple[int, int]
    taken_at: str

    def __post_init__(self) -> None:
        frozen_array(self, "camera_xy_mm", dtype=np.float64, shape=(2,))
        require_finite(self)
        require(self.px_per_mm > 0.0, f"Photo.px_per_mm is {self.px_per_mm}, must be above 0")
        require(min(self.size_px) >= 1, f"Photo.size_px {self.size_px} is empty")

    def table_from_image(self, xy_px: F64) -> F64:
        """Return points of the picture on the table.

        The image has x to the right, y down and pixel centres at integers; its middle lies on
        the optical axis.

        Parameters
        ----------
        xy_px : ndarray of shape (K, 2), float
            Points of the picture [px].

        Returns
        -------
        ndarray of shape (K, 2), float
            The same points in the table frame [mm].
        """
        middle = (np.array(self.size_px) - 1.0) / 2.0
        away = (xy_px - middle) * np.array((1.0, -1.0)) / self.px_per_mm
        c, s = np.cos(self.turn_rad), np.sin(self.turn_rad)
        turned: F64 = away @ np.array(((c, s), (-s, c))) + self.camera_xy_mm
        return turned

    def image_from_table(self, xy_mm: F64) -> F64:
        """Return points of the table in the picture; the inverse of `table_from_image`.

        Parameters
        ----------
        xy_mm : ndarray of shape (K, 2), float
            Points in the table frame [mm].

        Returns
        -------
        ndarray of shape (K, 2), float
            The same points in the picture [px].
        """
        c, s = np.cos(self.turn_rad), np.sin(self.turn_rad)
        away = (xy_mm - self.camera_xy_mm) @ np.array(((c, -s), (s, c)))
        middle = (np.array(self.size_px) - 1.0) / 2.0
        seen: F64 = away * np.array((1.0, -1.0)) * self.px_per_mm + middle
        return seen


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundMarks(Record):
    """K marks of one picture.

    Parameters
    ----------
    xy : ndarray of shape (K, 2), float
        Centres, pixel centres at integers, x right, y down [px].
    cov : ndarray of shape (K, 2, 2), float
        Covariance of each centre [px2].
    score : ndarray of shape (K,), float
        0 to 1: how much of the edge was seen where the model has it.
    diameter_px : ndarray of shape (K,), float
        Diameter as seen [px].
    findings : tuple of Finding
        What was refused and why.
    """

    xy: F64
    cov: F64
    score: F64
    diameter_px: F64
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        frozen_array(self, "xy", dtype=np.float64, shape=(None, 2))
        count = len(self.xy)
        frozen_array(self, "cov", dtype=np.float64, shape=(count, 2, 2))
        frozen_array(self, "score", dtype=np.float64, shape=(count,))
        frozen_array(self, "diameter_px", dtype=np.float64, shape=(count,))
        require_finite(self)
        require_rows(self, "diameter_px", self.diameter_px > 0.0, "above 0")
        positive = (np.linalg.eigvalsh(self.cov) > 0.0).all(axis=1)
        require_rows(self, "cov", positive, "positive definite")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MarkMatch(Record):
    """Which found mark is which nominal mark.

    Parameters
    ----------
    pairs : ndarray of shape (K, 2), int
        Index of the found and of the nominal mark of each pair.
    is_ambiguous : bool
        Whether another placement explains the picture nearly as well.
    mirrored : bool
        Whether the sheet lies face down.
    table_from_sheet : ndarray of shape (2, 3), float
        Affine map of the pairs by least squares; a similarity where there are only two [1, mm].
    votes, rival_votes : int
        Marks explained by this placement, and by the best one elsewhere.
    scale : tuple of float
        Growth of the print along the sheet's x and y by the map, 1 for none.
    findings : tuple of Finding
        Scale, mirror, missing marks said in words.
    """

    pairs: I64
    is_ambiguous: bool
    mirrored: bool = False
    table_from_sheet: F64
    votes: int
    rival_votes: int
    scale: tuple[float, float] = (1.0, 1.0)
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        frozen_array(self, "pairs", dtype=np.int64, shape=(None, 2))
        frozen_array(self, "table_from_sheet", dtype=np.float64, shape=(2, 3))
        require_finite(self)
        for column in (0, 1):
            names = self.pairs[:, column]
            require(len(set(names.tolist())) == len(names), "MarkMatch.pairs names a mark twice")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class View(Record):
    """Where the camera shall look next, and for which mark.

    Parameters
    ----------
    camera_xy_mm : ndarray of shape (2,), float
        Where the optical axis shall be, table frame [mm].
    mark : int
        Index of the nominal mark expected there.
    search_mm : float
        Half width of the window it must lie in, with 99.9 % [mm].
    """

    camera_xy_mm: F64
    mark: int
    search_mm: float

    def __post_init__(self) -> None:
        frozen_array(self, "camera_xy_mm", dtype=np.float64, shape=(2,))
        require_finite(self)
        require(self.mark >= 0, f"View.mark is {self.mark}, must be 0 or more")
        require(self.search_mm > 0.0, f"View.search_mm is {self.search_mm}, must be above 0")
