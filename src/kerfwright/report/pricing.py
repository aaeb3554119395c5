"""What an order costs: set-up, handling, machine time, material, overs, price breaks.

Work and material of one full sheet are rounded to hundredths first; everything else is whole
multiples and sums of them, so sums are exact and the price of a sheet falls as sheets are added,
without a step. Overs are what is spoiled on average, for the same reason; whole spare sheets to
have at hand are said beside. Ranges take every figure at its low or at its high end at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from math import ceil

from kerfwright.catalog import Rates
from kerfwright.report.quote_data import PriceBreak, Quote, QuoteLine, QuoteOrder
from kerfwright.report.spans import Money, Span, exactly, money_of, span_of, sum_of
from kerfwright.report.words import say
from kerfwright.units import S_PER_MIN

_CENT = 100
_MIN_PER_H = 60
_MM2_PER_M2 = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """Minutes and prices of one full sheet, of the set-up, and of what is spoiled."""

    minutes: dict[str, Span]
    price: dict[str, Money]
    set_up: Money
    overs_once: Money
    overs_each: Money


def quote(order: QuoteOrder, *, rates: Rates) -> Quote:
    """Return what an order costs, line by line, with assumptions and ranges.

    Parameters
    ----------
    order : QuoteOrder
        What is to be priced.
    rates : Rates
        Hourly rates, handling times and material prices.

    Returns
    -------
    Quote
        Lines whose amounts add up to the total to the last hundredth.

    Raises
    ------
    UnknownNameError
        If the rates have no price for the material and the order gives none.
    """
    sheet = _one_sheet(order, rates)
    lines = _lines(order, rates, sheet)
    return Quote(
        order=order,
        currency=rates.currency,
        lines=lines,
        total=sum_of(line.amount for line in lines),
        spare_sheets=ceil(_spoiled(rates, order.sheets).value),
        breaks=tuple(_price_break(order, sheet, n) for n in order.breaks),
        hourly=_hourly(rates),
        source=_source(rates),
    )


def _hourly(rates: Rates) -> str:
    names = ("labour_cur_h", "table_cur_h")
    ranges = {name: _range_text(_of(rates, name)) for name in names}
    return say("quote", "rates", cur=rates.currency, **ranges)


def _source(rates: Rates) -> str:
    said = {(s.range.source, s.range.date) for s in rates.values.values()}
    return "; ".join(f"{source} ({date})" for source, date in sorted(said))


def _of(rates: Rates, name: str) -> Span:
    return span_of(rates.values[name])


def _spoiled(rates: Rates, sheets: int) -> Span:
    """Return how many sheets are spoiled on average."""
    return _of(rates, "overs_first_sheets") + _of(rates, "overs_share").times(sheets)


def _one_sheet(order: QuoteOrder, rates: Rates) -> _Sheet:
    labour, table = _of(rates, "labour_cur_h"), _of(rates, "table_cur_h")
    minutes = _minutes(order, rates)
    both = labour + table
    hourly = {
        "loading": both,
        "looking": both,
        "cutting": table + labour * _of(rates, "attendance_share"),
        "unloading": both,
        "weeding": labour,
    }
    price = {key: _work(minutes[key], hourly[key]) for key in hourly}
    price["material"] = _sheet_price(order, rates)
    spoiled = sum_of(amount for key, amount in price.items() if key != "weeding").span()
    return _Sheet(
        minutes=minutes,
        price=price,
        set_up=_work(minutes["set_up"], both),
        overs_once=money_of(spoiled * _of(rates, "overs_first_sheets")),
        overs_each=money_of(spoiled * _of(rates, "overs_share")),
    )


def _minutes(order: QuoteOrder, rates: Rates) -> dict[str, Span]:
    minute = Decimal(1) / Decimal(int(S_PER_MIN))
    looking = _of(rates, "look_start_s") + _of(rates, "look_mark_s").times(order.marks)
    seconds = exactly(order.cut_s)
    low, high = exactly(order.cut_low_s).low, exactly(order.cut_high_s).high
    return {
        "set_up": _of(rates, "set_up_min"),
        "loading": _of(rates, "loading_min"),
        "looking": looking.times(minute) if order.marks else exactly(0),
        "cutting": Span(value=seconds.value, low=low, high=high).times(minute),
        "unloading": _of(rates, "unloading_min"),
        "weeding": _of(rates, "weeding_s").times(order.waste_pieces).times(minute),
    }


def _work(minutes: Span, cur_h: Span) -> Money:
    return money_of(minutes * cur_h.times(Decimal(_CENT) / _MIN_PER_H))


def _sheet_price(order: QuoteOrder, rates: Rates) -> Money:
    if order.sheet_cost > 0.0:
        return money_of(exactly(order.sheet_cost).times(_CENT))
    area_m2 = exactly(order.sheet_area_mm2).value / _MM2_PER_M2
    return money_of(span_of(rates.price_of(order.material_id)).times(area_m2 * _CENT))


def _lines(order: QuoteOrder, rates: Rates, sheet: _Sheet) -> tuple[QuoteLine, ...]:
    n, full = order.sheets, Decimal(order.parts) / order.parts_per_sheet
    used = money_of(sheet.price["material"].span().times(full))
    amounts = {
        "set_up": sheet.set_up,
        "loading": sheet.price["loading"].times(n),
        "looking": sheet.price["looking"].times(n),
        "cutting": money_of(sheet.price["cutting"].span().times(full)),
        "unloading": sheet.price["unloading"].times(n),
        "weeding": money_of(sheet.price["weeding"].span().times(full)),
        "material": used,
        "last_sheet": _rest(sheet.price["material"].times(n), used, rates),
        "overs": sheet.overs_once + sheet.overs_each.times(n),
    }
    count = {"set_up": Decimal(1), "cutting": full, "weeding": full}
    return tuple(
        QuoteLine(
            key=key,
            assumption=assumption_of(key, order, rates),
            table_min=_taken(sheet, key, count.get(key, Decimal(n)), is_hand=False, rates=rates),
            hand_min=_taken(sheet, key, count.get(key, Decimal(n)), is_hand=True, rates=rates),
            amount=amount,
        )
        for key, amount in amounts.items()
    )


def _rest(whole: Money, used: Money, rates: Rates) -> Money:
    """Return what the unused part of the last sheet costs, less what comes back as stock."""
    back = _of(rates, "remnant_share")
    kept = Span(value=1 - back.value, low=1 - back.high, high=1 - back.low)
    rest = Money(
        value_cent=whole.value_cent - used.value_cent,
        low_cent=whole.low_cent - used.low_cent,
        high_cent=whole.high_cent - used.high_cent,
    )
    return money_of(rest.span() * kept)


def _taken(sheet: _Sheet, key: str, count: Decimal, *, is_hand: bool, rates: Rates) -> float:
    if key == "overs":
        spoiled = _spoiled(rates, int(count)).value
        keys = ("loading", "looking", "cutting", "unloading")
        each = [_taken(sheet, k, spoiled, is_hand=is_hand, rates=rates) for k in keys]
        return sum(each)
    minutes = sheet.minutes.get(key, exactly(0)).value * count
    if key == "weeding" and not is_hand:
        return 0.0
    if key == "cutting" and is_hand:
        minutes *= _of(rates, "attendance_share").value
    return float(minutes)


def _price_break(order: QuoteOrder, sheet: _Sheet, n: int) -> PriceBreak:
    keys = ("loading", "looking", "unloading", "weeding")
    set_up, cutting = sheet.set_up, sheet.price["cutting"].times(n)
    handling = sum_of(sheet.price[key] for key in keys).times(n)
    overs = sheet.overs_once + sheet.overs_each.times(n)
    material = sheet.price["material"].times(n) + overs
    return PriceBreak(
        sheets=n,
        parts=n * order.parts_per_sheet,
        set_up=set_up,
        handling=handling,
        cutting=cutting,
        material=material,
        total=sum_of((set_up, handling, cutting, material)),
    )


def assumption_of(key: str, order: QuoteOrder, rates: Rates) -> str:
    """Return in words what a line counts with."""
    ranges = {name: _range_text(_of(rates, name)) for name in rates.values}
    shown: dict[str, str | float] = {
        "sheets": order.sheets,
        "parts": order.parts,
        "per_sheet": order.parts_per_sheet,
        "marks": order.marks,
        "pieces": order.waste_pieces,
        "unused": order.sheets * order.parts_per_sheet - order.parts,
        "cut_min": f"{order.cut_s / S_PER_MIN:.2f}",
        "cut_range": f"{order.cut_low_s / S_PER_MIN:.2f} to {order.cut_high_s / S_PER_MIN:.2f}",
        "area_m2": f"{order.sheet_area_mm2 / _MM2_PER_M2:.3f}",
        "price": "",
        "cur": rates.currency,
    }
    variant = key
    if key == "material":
        if order.sheet_cost > 0.0:
            variant, shown["price"] = "material_given", f"{order.sheet_cost:.2f}"
        else:
            shown["price"] = _range_text(span_of(rates.price_of(order.material_id)))
    empty = {"looking": order.marks, "weeding": order.waste_pieces, "last_sheet": shown["unused"]}
    if not empty.get(key, 1):
        variant = f"{key}_none"
    return say("assumptions", variant, **shown, **ranges)


def _range_text(span: Span) -> str:
    value, low, high = (f"{float(v):g}" for v in (span.value, span.low, span.high))
    return f"{value} ({low} to {high})"
