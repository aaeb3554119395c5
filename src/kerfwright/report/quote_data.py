"""What is asked of a quote, and what it answers, as plain records."""

from __future__ import annotations

from dataclasses import dataclass

from kerfwright.geometry.record import Record, require
from kerfwright.model._checks import require_finite
from kerfwright.report.spans import Money

MOST_BREAKS = 8
"""Price breaks that fit on the one page of a quote."""


@dataclass(frozen=True, slots=True, kw_only=True)
class QuoteOrder:
    """What is to be priced: sheets of one nest.

    Parameters
    ----------
    parts : int
        Parts ordered.
    parts_per_sheet : int
        Parts on a full sheet.
    material_id : str
        Material, by id of the book.
    sheet_area_mm2 : float
        Area of a whole sheet [mm2].
    sheet_cost : float
        Price of a whole sheet in the shop's currency; 0 takes it from the book, by area.
    cut_s, cut_low_s, cut_high_s : float
        Machine time of a full sheet, and its range [s].
    marks : int
        Marks looked at on each sheet.
    waste_pieces : int
        Pieces of waste lifted out of a full sheet by hand.
    breaks : tuple of int
        Numbers of full sheets to price besides, growing.
    """

    parts: int
    parts_per_sheet: int
    material_id: str
    sheet_area_mm2: float
    sheet_cost: float = 0.0
    cut_s: float
    cut_low_s: float
    cut_high_s: float
    marks: int = 0
    waste_pieces: int = 0
    breaks: tuple[int, ...] = (1, 5, 10, 50)

    def __post_init__(self) -> None:
        require_finite(self)
        for name in ("parts", "parts_per_sheet"):
            value = getattr(self, name)
            require(value >= 1, f"QuoteOrder.{name} is {value}, least is 1")
        for name in ("sheet_cost", "marks", "waste_pieces"):
            value = getattr(self, name)
            require(value >= 0, f"QuoteOrder.{name} is {value}, must not be below 0")
        area = self.sheet_area_mm2
        require(area > 0.0, f"QuoteOrder.sheet_area_mm2 is {area}, must be above 0")
        low, value, high = self.cut_low_s, self.cut_s, self.cut_high_s
        require(
            0.0 < low <= value <= high,
            f"QuoteOrder: {value} s of cutting with the range {low} to {high} s; must be in it",
        )
        count = len(self.breaks)
        require(count <= MOST_BREAKS, f"{count} price breaks, a page has room for {MOST_BREAKS}")
        grows = all(a < b for a, b in zip((0, *self.breaks), self.breaks, strict=False))
        require(grows, f"price breaks {self.breaks} must grow from 1 on")

    @property
    def sheets(self) -> int:
        """Sheets needed for the parts ordered."""
        return -(-self.parts // self.parts_per_sheet)


@dataclass(frozen=True, slots=True, kw_only=True)
class QuoteLine:
    """One line of a quote.

    Parameters
    ----------
    key : str
        set_up, loading, looking, cutting, unloading, weeding, material, last_sheet or overs.
    assumption : str
        What it counts with, in words, with ranges.
    table_min, hand_min : float
        Minutes the table is taken, and minutes of a person [min].
    amount : Money
        Price of the line.
    """

    key: str
    assumption: str
    table_min: float
    hand_min: float
    amount: Money


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceBreak:
    """Price of a number of full sheets; its four amounts add up to the total.

    Parameters
    ----------
    sheets, parts : int
        How many.
    set_up, handling, cutting, material : Money
        Once; loading, looking, unloading and weeding; machine time; material with overs.
    total : Money
        All of it.
    """

    sheets: int
    parts: int
    set_up: Money
    handling: Money
    cutting: Money
    material: Money
    total: Money


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Quote(Record):
    """An estimate of a price.

    Parameters
    ----------
    order : QuoteOrder
        What was asked.
    currency : str
        Word for the currency.
    lines : tuple of QuoteLine
        Lines; their amounts add up to the total exactly.
    total : Money
        Sum.
    spare_sheets : int
        Sheets to have at hand besides those needed.
    breaks : tuple of PriceBreak
        Prices of other numbers of sheets.
    hourly, source : str
        The hourly rates in words, and where the rates come from.
    """

    order: QuoteOrder
    currency: str
    lines: tuple[QuoteLine, ...]
    total: Money
    spare_sheets: int
    breaks: tuple[PriceBreak, ...]
    hourly: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class QuoteData(Record):
    """Everything the page of a quote shows.

    Parameters
    ----------
    job_id, title : str
        Which order, and what people call it.
    material, sheet : str
        Material and size of a sheet, in words.
    quote : Quote
        The numbers.
    validity : str
        How long it holds, in words.
    notes : str
        Anything else the reader must know.
    made_on : str
        Day it was made, as it shall be shown; empty for none.
    """

    job_id: str
    title: str
    material: str
    sheet: str
    quote: Quote
    validity: str
    notes: str = ""
    made_on: str = ""

    def __post_init__(self) -> None:
        require(self.validity.strip(), "QuoteData.validity is empty; say how long the quote holds")
