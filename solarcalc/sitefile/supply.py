"""What turns and steers the power: [controller], [inverter], [supply], [grid]."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Sequence
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from solarcalc.basis.errors import Fault
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import Fraction, Name, Record, Sound, list_at, ordered
from solarcalc.sitefile.loads import BOARDS, sound_phases

_SPAN = re.compile(r"^([01]\d|2[0-3]):([0-5]\d)-(([01]\d|2[0-3]):([0-5]\d)|24:00)$")


class Controller(Record):
    """[controller]: charge controller with maximum-power tracking."""

    label: Name
    max_pv_voltage_v: float = Field(gt=0.0, le=1500.0)
    min_tracking_voltage_v: float = Field(gt=0.0, le=1500.0)
    max_tracking_voltage_v: float = Field(gt=0.0, le=1500.0)
    start_voltage_v: float | None = Field(
        default=None, gt=0.0, le=1500.0,
        description="of the array, at which it starts; default: any",
    )
    max_charge_current_a: float = Field(gt=0.0, le=1000.0)
    efficiency_frac: float = Field(gt=0.5, le=1.0)
    input_terminal_mm2: float | None = Field(
        default=None, gt=0.0, le=400.0,
        description="largest conductor of its array input, from its data sheet; default: a usual"
        " one",
    )
    battery_terminal_mm2: float | None = Field(
        default=None, gt=0.0, le=400.0,
        description="the same for its battery terminal",
    )
    count: int = Field(default=1, ge=1, le=50)


class Inverter(Record):
    """[inverter.essential] and [inverter.nonessential]."""

    label: Name
    continuous_power_w: float = Field(gt=0.0, le=200000.0)
    surge_power_va: float = Field(gt=0.0, le=600000.0)
    efficiency_frac: float = Field(gt=0.5, le=1.0)
    no_load_power_w: float = Field(ge=0.0, le=1000.0)
    bank_voltage_v: float | None = Field(
        default=None, gt=0.0, le=1000.0,
        description="nominal, on its rating plate; checked if entered"
    )
    residual_type: Literal["A", "F", "B"] | None = Field(
        default=None,
        description="residual current device at its output that its data sheet states as"
        " sufficient; default: not stated"
    )
    charge_current_a: float | None = Field(
        default=None, gt=0.0, le=1000.0,
        description="of its built-in charger into the battery, from its data sheet; default:"
        " supply.charger_power_w"
    )
    output_voltage_v: float | None = Field(
        default=None, ge=90.0, le=500.0,
        description="on its rating plate, line to neutral; checked if entered"
    )
    count: int = Field(
        default=1, ge=1, le=30, description="inverters alike; each has the ratings above"
    )
    arrangement: Literal["parallel", "one-a-phase"] = Field(
        default="parallel",
        description="of several: outputs in parallel, or single-phase inverters shared out among"
        " the phases"
    )

    @property
    def one_a_phase(self) -> bool:
        """Whether each stands on one phase alone."""
        return self.arrangement == "one-a-phase"

    @property
    def total_power_w(self) -> float:
        """Continuous power of all of them [W]."""
        return self.count * self.continuous_power_w

    @property
    def total_surge_va(self) -> float:
        """Surge power of all of them [VA]."""
        return self.count * self.surge_power_va

    @property
    def total_no_load_w(self) -> float:
        """What all of them draw idle [W]."""
        return self.count * self.no_load_power_w

    @property
    def alike(self) -> str:
        """Count to be put before the words of one; empty for one."""
        return f"{self.count} × " if self.count > 1 else ""


class Inverters(Record):
    """[inverter]: one for each board; with one for both, that of the essential board."""

    essential: Inverter
    nonessential: Inverter = Field(default_factory=lambda given: given["essential"])


class Supply(Record):
    """[supply]: how banks, inverters and boards hang together, and who serves first."""

    layout: Literal["shared-bank", "one-inverter", "separate-banks"] = Field(
        default="shared-bank",
        description="one battery for both boards; also one inverter for both; or a battery for"
        " each board",
    )
    order: Literal["sun-battery-grid", "sun-grid-battery"] = Field(
        default="sun-battery-grid",
        description="dispatch order; the second keeps the battery for outages"
    )
    essential_array_frac: Fraction = Field(
        default=0.5,
        description="of the array, on the essential board's battery, with separate-banks"
    )
    essential_bank_frac: Fraction = Field(
        default=0.5,
        description="of the battery strings in parallel, on the essential board, with"
        " separate-banks"
    )
    charger_efficiency_frac: float = Field(
        default=0.9, gt=0.3, le=1.0, description="grid or generator to battery"
    )
    charger_power_w: float | None = Field(
        default=None, gt=0.0, le=200000.0,
        description="largest power that the charger of each inverter"
        " draws from grid or generator; default: all they supply"
    )  # fmt: skip
    ac_voltage_v: float = Field(
        default=230.0, ge=90.0, le=260.0, description="of a board, line to neutral"
    )

    @property
    def one_inverter(self) -> bool:
        """Whether one inverter serves both boards."""
        return self.layout == "one-inverter"

    @property
    def separate_banks(self) -> bool:
        """Whether each board has a bank."""
        return self.layout == "separate-banks"


def _spans(value: list[str]) -> list[str]:
    """Clock spans of a day as they are; ValueError where one is none, or two overlap."""
    if not all(_SPAN.match(span.replace(" ", "")) for span in value):
        raise ValueError('each is "HH:MM-HH:MM", from 00:00 to 24:00')
    spans = sorted(minutes_of_spans(value))
    if any(start >= end for start, end in spans):
        raise ValueError(
            "each span ends after it starts; one over midnight is two,"
            ' "22:00-24:00" and "00:00-02:00"'
        )
    if any(later[0] < first[1] for first, later in itertools.pairwise(spans)):
        raise ValueError("spans that do not overlap; make one of those that do")
    return value


def minutes_of_spans(spans: Sequence[str]) -> list[tuple[int, int]]:
    """First minute and the one after the last of each clock span."""
    ends = [span.replace(" ", "").split("-") for span in spans]
    return [(_minute(first), _minute(last)) for first, last in ends]


def _minute(clock: str) -> int:
    hour, minute = clock.split(":")
    return int(hour) * 60 + int(minute)


Spans = Annotated[list[str], AfterValidator(_spans)]
"""Clock spans of one day that do not overlap."""


class GridDays(Record):
    """[[grid.timetable]]: when the grid is there on one kind of day."""

    days: Literal["all", "weekdays", "weekends"]
    present: Spans = Field(
        description='clock spans, ["06:00-09:00"]; over midnight is two; [] for a day without'
    )


class RotaDay(Record):
    """[[grid.rota]]: one day of a rota; the first is 1 January, after the last it begins again."""

    present: Spans = Field(
        description='clock spans, ["06:00-09:00"]; over midnight is two; [] for a day without'
    )


class Grid(Record):
    """[grid]: whether there is one, and when it fails."""

    kind: Literal["none", "always", "timetable", "rota", "random"] = Field(
        default="none", description="timetable, rota and random have their own keys below"
    )
    limit_w: float = Field(
        default=3000.0, gt=0.0, le=200000.0, description="boards and charger together"
    )
    charge_below_frac: float | None = Field(
        default=None, ge=0.0, le=1.0, description="state of charge below which the grid charges;"
        " 0: never; left out: nonessential_return_frac"
    )  # fmt: skip
    outage_h_per_day: float = Field(
        default=6.0, ge=0.0, le=24.0, description="random: mean without grid"
    )
    mean_outage_h: float = Field(default=2.0, ge=0.01, le=720.0, description="random: length")
    seed: int = Field(default=1, ge=0, le=999999, description="random: another seed, other days")
    low_voltage: Spans = Field(
        default_factory=list,
        description='clock spans of every day with a voltage too low for the equipment,'
        ' ["18:00-22:00"]; they count as without grid'
    )
    timetable: list[GridDays] = Field(default_factory=list)
    rota: list[RotaDay] = Field(default_factory=list, max_length=31)

    @property
    def there(self) -> bool:
        """Whether there is one, be it for hours only."""
        return self.kind != "none"


def controller_faults(sound: Sound) -> Iterator[Fault]:
    """Limits of a controller out of order."""
    low, high, most = (
        ("controller", name)
        for name in ("min_tracking_voltage_v", "max_tracking_voltage_v", "max_pv_voltage_v")
    )
    yield from ordered(sound, low, high, "the MPP voltage range has a width", equal=False)
    if sound.get("controller", "start_voltage_v") is not None:
        yield from ordered(sound, ("controller", "start_voltage_v"), most,
                           "it starts below its highest voltage", equal=False)
    yield from ordered(sound, high, most, "no MPP tracking above the maximum voltage", equal=True)


def _inverters(sound: Sound) -> Iterator[Fault]:
    second = ("inverter", "nonessential")
    if not (sound.given(*second) or second in sound.bad or not sound.given("inverter")
            or sound.get("supply", "layout") in (None, "one-inverter")):
        yield sound.fault(second, **worded("sitefile", "second-inverter"))
    for board in BOARDS:
        yield from ordered(sound, ("inverter", board, "continuous_power_w"),
                           ("inverter", board, "surge_power_va"),
                           "surge is what it carries for seconds, continuous for hours", equal=True)
        yield from _arranged(sound, board)
    yield from _charging(sound)


def _charging(sound: Sound) -> Iterator[Fault]:
    """A charger of an inverter that charges no battery: one shared by both boards has one."""
    given = sound.get("inverter", "nonessential", "charge_current_a")
    if given is not None and sound.get("supply", "layout") in ("shared-bank", "one-inverter"):
        yield sound.fault(("inverter", "nonessential", "charge_current_a"), **worded(
            "sitefile", "charging-inverter", given=given))  # fmt: skip


def _arranged(sound: Sound, board: str) -> Iterator[Fault]:
    """Inverters of one phase each that are no whole number for each phase of their board."""
    count = sound.get("inverter", board, "count")
    phases = sound_phases(sound, board)
    one = sound.get("inverter", board, "arrangement") == "one-a-phase"
    if not one or None in (count, phases) or (phases > 1 and count % phases == 0):
        return
    place = ("inverter", board, "count" if phases > 1 else "arrangement")
    yield sound.fault(place, **worded(
        "sitefile", "one-a-phase", count=count, phases=phases, board=board,
        allowed=f"{phases}, {2 * phases}, {3 * phases} and so on" if phases > 1 else "parallel",
    ))  # fmt: skip


WHOLE_UNITS = 0.02
"""How far a share written with few digits may be from whole strings of units."""
_DAYS = {"all": ("weekdays", "weekends"), "weekdays": ("weekdays",), "weekends": ("weekends",)}


def supply_faults(sound: Sound) -> Iterator[Fault]:
    """Limits out of order, timetables with days missing or twice."""
    yield from controller_faults(sound)
    yield from _inverters(sound)
    yield from _timetable(sound)
    yield from _rota(sound)
    yield from _grid_charge(sound)
    yield from _two_banks(sound)


def _timetable(sound: Sound) -> Iterator[Fault]:
    rows = list_at(sound, ("grid", "timetable"))
    if sound.get("grid", "kind") is None or sound.get("grid", "timetable") is None:
        return
    seen: dict[str, int] = {}
    for number, row in enumerate(rows):
        twice = [day for day in _DAYS[row["days"]] if day in seen]
        for day in twice:
            yield sound.fault(("grid", "timetable", number, "days"),
                              f"{row['days']!r}, which holds {day} again", "each day type once",
                              f"table {seen[day] + 1} has {day} as well",
                              "combine all spans of a day type in one table")
        seen |= {day: number for day in _DAYS[row["days"]] if day not in seen}
    missing = [day for day in _DAYS["all"] if day not in seen]
    if sound.get("grid", "kind") == "timetable" and missing:
        yield sound.fault(("grid", "timetable"), **worded(
            "sitefile", "timetable", missing=" and ".join(missing),
            days=missing[0] if len(missing) == 1 else "all",
        ))  # fmt: skip


def _rota(sound: Sound) -> Iterator[Fault]:
    """A rota without a day."""
    if sound.get("grid", "kind") == "rota" and sound.get("grid", "rota") == []:
        yield sound.fault(("grid", "kind"), **worded("sitefile", "rota"))


def _two_banks(sound: Sound) -> Iterator[Fault]:
    share = sound.get("supply", "essential_bank_frac")
    units = sound.get("battery", "units_in_parallel")
    if sound.get("supply", "layout") != "separate-banks" or None in (share, units):
        return
    essential = round(units * share)
    if 1 <= essential < units and abs(essential - units * share) < WHOLE_UNITS:
        return
    shares = ", ".join(f"{count / units:.4g}" for count in range(1, units))
    yield sound.fault(
        ("supply", "essential_bank_frac"),
        **worded("sitefile", "two-banks", share=share, units=units),
        allowed=f"one of {shares}" if units > 1 else "two or more units_in_parallel",
    )  # fmt: skip


def _grid_charge(sound: Sound) -> Iterator[Fault]:
    level, reserve = sound.get("grid", "charge_below_frac"), sound.get("battery", "min_soc_frac")
    kind = sound.get("grid", "kind")
    if kind in (None, "none") or level is None or reserve is None:
        return
    if 0.0 < level <= reserve:
        yield sound.fault(
            ("grid", "charge_below_frac"),
            **worded("sitefile", "grid-charge", level=level, reserve=reserve),
        )  # fmt: skip
