"""From table axes to the numbers of a program, counted in its last decimal.

Counts are whole numbers, so that what is compared is what is written: -0 and noise cannot occur.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np

from kerfwright.geometry.record import F64, I64
from kerfwright.model.dialect import Dialect
from kerfwright.model.table import Table
from kerfwright.units import DEG_PER_RAD


@dataclass(frozen=True, slots=True, kw_only=True)
class Axes:
    """The dialect's share of axes, ready for arrays.

    Parameters
    ----------
    dialect : Dialect
        Swap, signs, C sense and zero, decimals.
    z_zero_mm : float
        Height above the bed of the control's Z zero [mm].
    offsets : dict of int to ndarray of shape (4,)
        What each station adds to x, y, z, c of the table; empty when nothing is added.
    """

    dialect: Dialect
    z_zero_mm: float
    offsets: dict[int, F64]

    @classmethod
    def of(cls, table: Table, dialect: Dialect, *, z_zero_mm: float, is_offset: bool) -> Self:
        """Collect what a table and a dialect say of axes.

        Parameters
        ----------
        table, dialect : Table, Dialect
            Heads and stations; who applies offsets.
        z_zero_mm : float
            Height above the bed of the control's Z zero [mm].
        is_offset : bool
            Whether the motion's numbers hold the offsets already.
        """
        offsets: dict[int, F64] = {}
        if dialect.offsets_in == "program" and not is_offset:
            for station in table.stations:
                head = table.head(station.head_id)
                offsets[station.number] = np.append(head.offset_mm, head.c_zero_rad)
        return cls(dialect=dialect, z_zero_mm=z_zero_mm, offsets=offsets)

    @property
    def unit_mm(self) -> float:
        """The last decimal of a length [mm]."""
        return float(10.0**-self.dialect.decimals_mm)

    @property
    def handedness(self) -> int:
        """-1 where the program's X, Y turn the other way round than the table's x, y."""
        d = self.dialect
        return d.sign_x * d.sign_y * (-1 if d.swap_xy else 1)

    def counts(self, places: F64, tool: I64) -> I64:
        """Return places of the table as counts of the program, shape (N, 4).

        Parameters
        ----------
        places : ndarray of shape (N, 4), float
            x, y, z, c in the table frame [mm, rad].
        tool : ndarray of shape (N,), int
            Station each place is meant for.
        """
        d = self.dialect
        places = self.offset(places, tool)
        numbers = np.zeros_like(places)
        numbers[:, :2] = self._plane(places[:, :2])
        numbers[:, 2] = d.sign_z * (places[:, 2] - self.z_zero_mm)
        numbers[:, 3] = (d.sign_c * places[:, 3] + d.c_zero_rad) * DEG_PER_RAD
        per_unit = np.array([10.0**d.decimals_mm] * 3 + [10.0**d.decimals_deg])
        counts: I64 = np.rint(numbers * per_unit).astype(np.int64)
        return counts

    def centre_numbers(self, centres: F64, tool: I64) -> F64:
        """Return centres of arcs in the program's X, Y, in counts and not rounded, (N, 2)."""
        places = np.zeros((len(centres), 4))
        places[:, :2] = centres
        numbers: F64 = (
            self._plane(self.offset(places, tool)[:, :2]) * 10.0**self.dialect.decimals_mm
        )
        return numbers

    def offset(self, places: F64, tool: I64) -> F64:
        """Return places with the offsets of their stations added."""
        out = places.copy()
        for number, offset in self.offsets.items():
            out[tool == number] += offset
        return out

    def _plane(self, xy: F64) -> F64:
        columns = xy[:, ::-1] if self.dialect.swap_xy else xy
        signed: F64 = columns * np.array([self.dialect.sign_x, self.dialect.sign_y])
        return signed
