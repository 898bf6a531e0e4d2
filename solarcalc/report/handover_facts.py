"""What the customer's pack says, as plain figures: no words of any language but the site's own."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

from solarcalc.basis.errors import Fault, InputError
from solarcalc.installation.records import Place
from solarcalc.sitefile.chemistry import Chemistry
from solarcalc.sitefile.loads import Board

Part = Literal[
    "part_panels", "part_battery", "part_inverter_essential", "part_inverter_nonessential",
    "part_inverter", "part_controller", "part_generator", "part_mounting", "part_work",
]  # fmt: skip

Changeover = Literal["none", "manual", "automatic", "built-in"]
MOST_DUTIES = 3
SLOWLY = 1.5
"""Of its rated energy a bank drawn without hurry gives no more."""
"""Things that the customer must do, at most: more are not kept; common practice, no source."""

EVENING_H, NIGHT_H = 18, 23
"""Clock hours at which a cut begins in the customer's table; common practice, no source."""

LONGEST_H = 48.0
"""Longer than two days without sun is not promised; common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class ApplianceFacts:
    """One kind of appliance on a board.

    Parameters
    ----------
    name : str
        In the site's own words.
    count : int
    runs_h : float
        Hours it runs on a full battery when it is the only thing in use [h]; infinite beyond
        what is looked at.
    """

    name: str
    count: int
    runs_h: float


@dataclass(frozen=True, kw_only=True)
class BoardFacts:
    """One board.

    Parameters
    ----------
    board : {"essential", "nonessential"}
    tag : str
        As on its door.
    inverter_w : float
        What it carries at the same moment [W].
    phase_w : float
        Of it on one phase, where each has an inverter of its own; 0 where all feed one [W].
    inverter_count : int
        Inverters that feed it.
    evening_h, night_h : float
        Hours it goes on from the evening and from the night on a full battery, everything in use
        as usual [h]; infinite beyond what is looked at; not a number where nothing is listed, or
        the bank is never full.
    appliances : tuple of ApplianceFacts
    measured : bool
        Whether its use was measured and there is no list.
    """

    board: Board
    tag: str = ""
    inverter_w: float
    phase_w: float = 0.0
    inverter_count: int = 1
    evening_h: float
    night_h: float
    appliances: tuple[ApplianceFacts, ...] = ()
    measured: bool = False


@dataclass(frozen=True, kw_only=True)
class WarrantyRow:
    """One line of the warranty table; what nobody wrote down is filled in by hand.

    Parameters
    ----------
    part : Part
        Key of the part's name in the catalogue.
    label : str
        Make and model, as far as known.
    count : int
        How many there are with a number of their own; 0 for what has none.
    serials : tuple of str
        Those that are known.
    until : date, optional
        Last day of the warranty, of the one whose warranty ends first; None unless all are known.
    own : {"", "some", "all"}
        Of these, what was the customer's before and is used again: no warranty comes with it.
    """

    part: Part
    label: str = ""
    count: int = 0
    serials: tuple[str, ...] = ()
    until: date | None = None
    own: Literal["", "some", "all"] = ""


@dataclass(frozen=True, kw_only=True)
class SwitchFacts:
    """A switch that the customer turns: the tag on it, and where it is."""

    tag: str
    place: Place


@dataclass(frozen=True, kw_only=True)
class CustomerFacts:
    """Everything the customer's report says.

    Parameters
    ----------
    site_name, customer : str
        As in the site file.
    module_count : int
    array_w : float
        Rated power of all modules [W].
    battery : Chemistry
        What kind it is.
    unit_count : int
        Battery units.
    full_wh, usable_wh : float
        Rated energy of the bank, and what it gives at its terminals down to its reserve, drawn
        without hurry (`Bank.usable_wh`) [Wh].
    boards : tuple of BoardFacts
    one_inverter, separate_banks : bool
    fills : bool
        Whether each bank is full at some hour of the year.
    grid : bool
        Whether there is a public grid.
    generator_w : float
        0 for none [W].
    changeover : {"none", "manual", "automatic", "built-in"}
        Of the site file: what is done by hand is told so.
    switching_off : tuple of (str, tuple of SwitchFacts)
        Steps of switching all off, each with its switches.
    nonessential_off_frac, nonessential_on_frac : float
        State of charge at which the second board goes and comes back, the cold counted.
    given_kwh, needed_kwh : tuple of 12 floats
        What the array can give at the sockets, losses taken off, and what the boards ask for there
        in each month [kWh].
    supplied_kwh : float, optional
        What the boards get of it in the year [kWh].
    cleaning_months : tuple of int
        Months in which a wash is due, 1 to 12; empty: look every three months.
    stamps : tuple of str
        What stands above it: ``"stamp_example"``, ``"stamp_draft"``.
    dangers : tuple of str
        Keys of the words of what else the site has to be warned of.
    care : tuple of str
        Keys of the words of what the place asks of the customer.
    warranty : tuple of WarrantyRow
    handed_over : date, optional
        Day of the customer's signature; left out: to be filled in by hand.
    battery_years : float, optional
        Expected life of the bank that lasts shortest [years]; None where none can be told.

    Raises
    ------
    InputError
        For other than twelve months, or figures that cannot be.
    """

    site_name: str
    customer: str
    module_count: int
    array_w: float
    battery: Chemistry
    unit_count: int
    full_wh: float
    usable_wh: float
    boards: tuple[BoardFacts, ...]
    one_inverter: bool = False
    separate_banks: bool = False
    fills: bool = True
    grid: bool = False
    generator_w: float = 0.0
    changeover: Changeover = "built-in"
    switching_off: tuple[tuple[str, tuple[SwitchFacts, ...]], ...] = ()
    nonessential_off_frac: float
    nonessential_on_frac: float
    given_kwh: tuple[float, ...]
    needed_kwh: tuple[float, ...]
    supplied_kwh: float | None = None
    unsupplied_h: tuple[float, ...] = (0.0,) * 12
    cleaning_months: tuple[int, ...] = ()
    stamps: tuple[str, ...] = ()
    dangers: tuple[str, ...] = ()
    care: tuple[str, ...] = ()
    warranty: tuple[WarrantyRow, ...] = field(default=())
    handed_over: date | None = None
    battery_years: float | None = None

    def __post_init__(self) -> None:
        faults = [
            Fault(where=f"customer facts: {name}", given=str(given), allowed=allowed)
            for name, given, sound, allowed in (
                ("given_kwh", self.given_kwh, _months(self.given_kwh), "12 numbers from 0"),
                ("needed_kwh", self.needed_kwh, _months(self.needed_kwh), "12 numbers from 0"),
                ("unsupplied_h", self.unsupplied_h, _months(self.unsupplied_h),
                 "12 numbers from 0"),
                ("usable_wh", self.usable_wh, 0.0 <= self.usable_wh <= SLOWLY * self.full_wh,
                 f"0 to {SLOWLY:g} of full_wh = {self.full_wh:g}"),
                ("cleaning_months", self.cleaning_months,
                 all(1 <= month <= 12 for month in self.cleaning_months), "months from 1 to 12"),
                ("boards", [one.board for one in self.boards],
                 [one.board for one in self.boards] == ["essential", "nonessential"],
                 "essential, nonessential"),
            ) if not sound
        ]  # fmt: skip
        if faults:
            raise InputError(faults)


def _months(values: Sequence[float]) -> bool:
    return len(values) == 12 and all(math.isfinite(one) and one >= 0.0 for one in values)


def lasting_h(
    draw_w: Sequence[float], usable_wh: float, *, from_hour: int, longest_h: float = LONGEST_H
) -> float:
    """Hours a store carries a draw that repeats every day, without any sun.

    Parameters
    ----------
    draw_w : sequence of 24 floats
        Mean draw in each clock hour, at the battery [W].
    usable_wh : float
        Energy that may be drawn [Wh].
    from_hour : int
        Clock hour it begins in, 0 to 23.
    longest_h : float
        Where the counting stops [h].

    Returns
    -------
    float
        [h]; infinite where the store outlasts `longest_h` or nothing is drawn.

    Notes
    -----
    Hour by hour, the last one in proportion: the time t at which the integral of the draw from
    `from_hour` reaches `usable_wh`.

    Examples
    --------
    >>> lasting_h([100.0] * 24, 250.0, from_hour=18)
    2.5
    >>> lasting_h([50.0] * 12 + [200.0] * 12, 500.0, from_hour=22)
    4.0
    >>> lasting_h([0.0] * 24, 500.0, from_hour=22)
    inf
    """
    left_wh, passed_h = usable_wh, 0.0
    while passed_h < longest_h:
        draw = draw_w[(from_hour + int(passed_h)) % 24]
        if draw > 0.0 and draw >= left_wh:
            return passed_h + left_wh / draw
        left_wh -= draw
        passed_h += 1.0
    return math.inf
