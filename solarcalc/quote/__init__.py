"""Bill of materials, prices, what a kWh costs over the life, and what it saves.

An installation becomes a `bill`, priced by `prices`, and becomes an `offer`; `economics` and
`sensitivity` reckon over the life; `answer` says it in words and tables, `export` in files.
"""

from solarcalc.powerroom.civil import CivilWorks, civil_works
from solarcalc.quote.answer import (
    ESTIMATE,
    INVENTED,
    QUOTE_NOTES,
    bill_rows,
    cash_rows,
    cost_rows,
    economics_rows,
    labour_rows,
    plan_of,
    quote_answer,
    quote_rows,
    quote_values,
    quote_verdicts,
    swing_rows,
)
from solarcalc.quote.bill import BillLine, bill_of
from solarcalc.quote.economics import Economics, Plan, economics_of, today_per_kwh
from solarcalc.quote.export import quote_files, quote_xlsx, table_csv, write_bytes
from solarcalc.quote.offer import LabourHours, Offer, compare_offers, group_prices, quote_of
from solarcalc.quote.prices import PriceBook, read_price_book
from solarcalc.quote.sensitivity import Swing, tornado
from solarcalc.quote.worth import real_interest_frac, stored_energy_cost

__all__ = [
    "ESTIMATE",
    "INVENTED",
    "QUOTE_NOTES",
    "BillLine",
    "CivilWorks",
    "Economics",
    "LabourHours",
    "Offer",
    "Plan",
    "PriceBook",
    "Swing",
    "bill_of",
    "bill_rows",
    "cash_rows",
    "civil_works",
    "compare_offers",
    "cost_rows",
    "economics_of",
    "economics_rows",
    "group_prices",
    "labour_rows",
    "plan_of",
    "quote_answer",
    "quote_files",
    "quote_of",
    "quote_rows",
    "quote_values",
    "quote_verdicts",
    "quote_xlsx",
    "read_price_book",
    "real_interest_frac",
    "stored_energy_cost",
    "swing_rows",
    "table_csv",
    "today_per_kwh",
    "tornado",
    "write_bytes",
]
