"""The planned blocks of all operations, put into the order of the cuts.

*Body* of a cut: its blocks as planned, from the rapid that sets the tip above the entry to the
last lift. Bodies of cuts without motion are empty and left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from kerfwright.errors import ModelError
from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.model.cut import CutOrder
from kerfwright.model.motion import Kind, Role, ToolMotion

_COLUMNS = ("kind", "end", "centre", "sweep_rad", "feed", "feed_kind", "dwell_s", "role")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bodies:
    """M blocks of the bodies of N cuts, one after the other.

    Parameters
    ----------
    cut : ndarray of shape (N,), int
        Place of each cut in the order, rising.
    first : ndarray of shape (N + 1,), int
        Where the blocks of each cut begin.
    blocks : dict of str to ndarray
        Columns of `ToolMotion`, M rows each.
    """

    cut: I64
    first: I64
    blocks: dict[str, np.ndarray]

    def __len__(self) -> int:
        """Return the number of cuts."""
        return len(self.cut)

    @property
    def sizes(self) -> I64:
        """Number of blocks of each cut, shape (N,)."""
        return np.diff(self.first)

    @property
    def entry(self) -> F64:
        """Where each body begins: tip above the entry, shape (N, 4) [mm, rad]."""
        entry: F64 = self.blocks["end"][self.first[:-1]]
        return entry

    @property
    def exit(self) -> F64:
        """Where each body ends: tip lifted above the exit, shape (N, 4) [mm, rad]."""
        exit_: F64 = self.blocks["end"][self.first[1:] - 1]
        return exit_

    def begins(self) -> F64:
        """Return where each block begins, shape (M, 4); a body's first block at its own end."""
        end: F64 = self.blocks["end"]
        begin = np.roll(end, 1, axis=0)
        begin[self.first[:-1]] = end[self.first[:-1]]
        return begin

    def select(self, keep: BOOL) -> Bodies:
        """Return the bodies of some cuts."""
        rows = np.repeat(keep, self.sizes)
        sizes = self.sizes[keep]
        return Bodies(
            cut=self.cut[keep],
            first=np.concatenate(([0], np.cumsum(sizes))).astype(np.int64),
            blocks={name: column[rows] for name, column in self.blocks.items()},
        )

    def turned_by(self, c_rad: F64) -> Bodies:
        """Return the bodies with C shifted by a number per cut, shape (N,)."""
        end: F64 = self.blocks["end"].copy()
        end[:, 3] += np.repeat(c_rad, self.sizes)
        return replace(self, blocks=self.blocks | {"end": end})


def gather_bodies(motions: Sequence[ToolMotion], order: CutOrder) -> Bodies:
    """Return the bodies of all cuts that have motion, in order.

    Raises
    ------
    ModelError
        If a block belongs to no cut of the order, one cut stands in two motions or in two places
        of one, a body does not begin with a rapid above its entry, or positions are not of the
        table frame.
    """
    used = [m for m in motions if len(m)]
    if not all(m.frame == "table" for m in used):
        msg = "motions to be linked must be in the table frame; head offsets come later"
        raise ModelError(msg)
    cut = np.concatenate([m.cut for m in used]) if used else np.zeros(0, np.int64)
    _check_cuts(cut, np.repeat(np.arange(len(used)), [len(m) for m in used]), order)
    order_of_blocks = np.argsort(cut, kind="stable")
    present, first = np.unique(cut[order_of_blocks], return_index=True)
    if not used:
        return Bodies(cut=present, first=np.zeros(1, np.int64), blocks={})
    bodies = Bodies(
        cut=present,
        first=np.append(first, len(cut)).astype(np.int64),
        blocks={
            name: np.concatenate([getattr(m, name) for m in used])[order_of_blocks]
            for name in _COLUMNS
        },
    )
    _check_first_blocks(bodies, order)
    return bodies


def _check_cuts(cut: I64, motion: I64, order: CutOrder) -> None:
    n = len(order.contour)
    stray = (cut < 0) | (cut >= n)
    if stray.any():
        msg = (
            f"a planned block belongs to cut {cut[np.argmax(stray)]}, but the order has cuts 0 to "
            f"{n - 1}; plan with the order that is linked"
        )
        raise ModelError(msg)
    runs = np.flatnonzero(np.append(True, (np.diff(cut) != 0) | (np.diff(motion) != 0)))[: len(cut)]
    again = np.bincount(cut[runs], minlength=n) > 1
    if again.any():
        k = int(np.argmax(again))
        msg = f"cut {k} ({order.operation[k]} of contour {order.contour[k]}) was planned twice"
        raise ModelError(msg)


def _check_first_blocks(bodies: Bodies, order: CutOrder) -> None:
    first = bodies.first[:-1]
    kind, role = bodies.blocks["kind"][first], bodies.blocks["role"][first]
    wrong = (kind != Kind.RAPID) | (role != Role.LINK)
    if wrong.any():
        k = int(bodies.cut[np.argmax(wrong)])
        msg = (
            f"cut {k} ({order.operation[k]} of contour {order.contour[k]}) begins without a rapid "
            "that sets the tip above its entry; plan it again"
        )
        raise ModelError(msg)
