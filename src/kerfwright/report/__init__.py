"""Papers for people: the job ticket of one sheet, and the quote of an order.

Both are A4 pages whose bytes depend on the data alone. Nothing is decided here: verdicts, times
and hashes come in as plain records, prices are worked out by `quote` from times and rates. The
names below are loaded when they are first used, since the page library takes a moment.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from kerfwright.report.pricing import quote
    from kerfwright.report.quote_data import PriceBreak, Quote, QuoteData, QuoteLine, QuoteOrder
    from kerfwright.report.quote_page import quote_pdf
    from kerfwright.report.spans import Money
    from kerfwright.report.ticket import ticket_pdf
    from kerfwright.report.ticket_data import TicketData
    from kerfwright.report.ticket_lines import (
        CardValue,
        CheckLine,
        FileLine,
        HoldLine,
        OperationLine,
        OverrideLine,
        PartLine,
        TimeLine,
        ToolLine,
    )
    from kerfwright.report.ticket_pictures import ErrorMap, SheetPicture

__all__ = [
    "CardValue",
    "CheckLine",
    "ErrorMap",
    "FileLine",
    "HoldLine",
    "Money",
    "OperationLine",
    "OverrideLine",
    "PartLine",
    "PriceBreak",
    "Quote",
    "QuoteData",
    "QuoteLine",
    "QuoteOrder",
    "SheetPicture",
    "TicketData",
    "TimeLine",
    "ToolLine",
    "quote",
    "quote_pdf",
    "ticket_pdf",
]

_FILES = {
    "pricing": ("quote",),
    "quote_data": ("PriceBreak", "Quote", "QuoteData", "QuoteLine", "QuoteOrder"),
    "quote_page": ("quote_pdf",),
    "spans": ("Money",),
    "ticket": ("ticket_pdf",),
    "ticket_data": ("TicketData",),
    "ticket_pictures": ("ErrorMap", "SheetPicture"),
}
_HOME = {name: file for file, names in _FILES.items() for name in names}


def __getattr__(name: str) -> object:
    """Load a public name from the file that defines it."""
    if name not in __all__:
        msg = f"kerfwright.report has no {name}; it offers {', '.join(__all__)}"
        raise AttributeError(msg)
    return getattr(import_module(f"{__name__}.{_HOME.get(name, 'ticket_lines')}"), name)
