"""Tests at the end of the work: what to measure, what to expect, what a wrong value means."""

from solarcalc.commissioning.answer import (
    cause_rows,
    commissioning_answer,
    commissioning_assumptions,
    commissioning_verdicts,
    judged_rows,
)
from solarcalc.commissioning.causes import Cause
from solarcalc.commissioning.facts import (
    BankFacts,
    BoardFacts,
    Bond,
    StringFacts,
    TestFacts,
    facts_of,
)
from solarcalc.commissioning.judge import JudgedLine, TestReport, judge
from solarcalc.commissioning.line import TestLine
from solarcalc.commissioning.results import Result, blank_csv, read_results, write_blank
from solarcalc.commissioning.sheet import SAFETY, sheet_of, sheet_rows

__all__ = [
    "SAFETY",
    "BankFacts",
    "BoardFacts",
    "Bond",
    "Cause",
    "JudgedLine",
    "Result",
    "StringFacts",
    "TestFacts",
    "TestLine",
    "TestReport",
    "blank_csv",
    "cause_rows",
    "commissioning_answer",
    "commissioning_assumptions",
    "commissioning_verdicts",
    "facts_of",
    "judge",
    "judged_rows",
    "read_results",
    "sheet_of",
    "sheet_rows",
    "write_blank",
]
