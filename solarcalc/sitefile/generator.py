"""The generator of a site file: [generator]; and what its engine takes and bears."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, ValidationInfo, field_validator

from solarcalc.basis.errors import Fault
from solarcalc.basis.files import data_folder
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import Fraction, Record, Sound, check_one_each, rising

Rating = Literal["continuous", "prime", "limited-time", "standby"]
"""What the power on the plate is, by ISO 8528-1: COP, PRP, LTP, ESP."""


@dataclass(frozen=True, kw_only=True)
class Engine:
    """A kind of engine, as `data/engines.toml` has it.

    Parameters
    ----------
    words : str
    pressure_exponent, heat_exponent : float
        Of air pressure and absolute temperature in what the air takes of its power.
    no_load_fuel_l_per_h_per_kw : float
        Fuel without load, for each kW on the plate [l/h].
    fuel_l_per_kwh : float
        For each kWh more [l/kWh].
    service_h, life_h : float
        From one change of oil and filters to the next; until it is overhauled or replaced [h].
    air_source, air_seen, fuel_source, fuel_seen, service_source, service_seen : str
        Where the figures come from and how that was seen; a life is common practice.
    """

    words: str
    pressure_exponent: float
    heat_exponent: float
    air_source: str
    air_seen: str
    no_load_fuel_l_per_h_per_kw: float
    fuel_l_per_kwh: float
    fuel_source: str
    fuel_seen: str
    service_h: float
    service_source: str
    service_seen: str
    life_h: float


@cache
def engines() -> Mapping[str, Engine]:
    """The kinds of engine by their word in the site file."""
    text = (data_folder() / "engines.toml").read_text(encoding="utf-8")
    return {kind: Engine(**row) for kind, row in tomllib.loads(text).items()}


def _known(kind: str) -> str:
    if kind not in engines():
        raise ValueError("one of " + ", ".join(engines()))
    return kind


def _plate(power_w: float) -> float:
    if 0.0 < power_w < _LEAST_W:
        raise ValueError(f"0 for no generator, or a number from {_LEAST_W:g} to 200000 W")
    return power_w


_FEWEST_LOADS = 2
_LEAST_W = 100.0
"""Of a generator that is made; common practice, no source."""


class Generator(Record):
    """[generator]: one that starts by itself; 0 W is none."""

    power_w: Annotated[float, AfterValidator(_plate)] = Field(
        default=0.0, ge=0.0, le=200000.0, description="on its rating plate; 0: no generator"
    )
    rating: Rating = Field(
        default="prime", description="type of that power on its rating plate: COP, PRP, LTP or ESP"
    )
    engine: Annotated[str, AfterValidator(_known)] = Field(
        default="diesel", description="a kind of data/engines.toml: diesel, diesel-turbocharged,"
        " diesel-intercooled, petrol"
    )  # fmt: skip
    power_factor: float = Field(
        default=1.0, gt=0.0, le=1.0,
        description="W over VA on its rating plate; three phases: often 0.8"
    )
    hottest_air_c: float = Field(
        default=40.0, ge=-20.0, le=70.0, description="intake air on the hottest day"
    )
    derate_per_km_frac: float | None = Field(
        default=None, ge=0.0, le=0.5, description="power lost for each 1000 m above derate_from_m,"
        " by its sheet; left out: by ISO 3046-1"
    )  # fmt: skip
    derate_from_m: float = Field(default=0.0, ge=0.0, le=4000.0, description="from its data sheet")
    derate_per_k_frac: float | None = Field(
        default=None, ge=0.0, le=0.1, description="power lost for each K above derate_from_c,"
        " by its sheet; left out: by ISO 3046-1"
    )  # fmt: skip
    derate_from_c: float = Field(default=25.0, ge=0.0, le=60.0, description="from its data sheet")
    start_frac: float | None = Field(
        default=None, ge=0.0, le=1.0, description="state of charge at which it starts; default:"
        " a little above nonessential_shed_frac; it also starts when the essential board would"
        " lose supply"
    )  # fmt: skip
    stop_frac: float | None = Field(
        default=None, ge=0.0, le=1.0, description="state of charge at which it stops; default:"
        " 0.8, or more where the nonessential board returns later"
    )  # fmt: skip
    least_load_frac: Fraction = Field(
        default=0.3, description="of its power; fuel is counted for no less"
    )
    warm_up_min: float = Field(
        default=3.0, ge=0.0, le=30.0, description="from start until it takes load"
    )
    place: Literal["outside", "own room", "battery room"] = Field(
        default="outside", description="its location; never with the batteries"
    )
    from_openings_m: float | None = Field(
        default=None, ge=0.0, le=1000.0,
        description="from its exhaust to the nearest door, window or vent; default: not measured",
    )
    no_load_fuel_l_per_h_per_kw: float | None = Field(
        default=None, ge=0.0, le=1.0,
        description="no-load fuel per hour and kW on its rating plate; default: by the engine",
    )
    fuel_l_per_kwh: float | None = Field(
        default=None, ge=0.0, le=5.0, description="per kWh in addition; default: by the engine"
    )
    sheet_load_frac: list[float] = Field(
        default_factory=list, description="loads on its data sheet, rising, 0 to 1.1 of its power"
    )
    sheet_fuel_l_per_h: list[float] = Field(
        default_factory=list, validate_default=True,
        description="at those loads; they replace the two keys above",
    )
    service_h: float | None = Field(
        default=None, ge=10.0, le=2000.0,
        description="interval between changes of oil and filters; default: by the engine",
    )
    life_h: float | None = Field(
        default=None, ge=100.0, le=60000.0,
        description="until overhaul or replacement; default: by the engine",
    )
    run_h: float = Field(
        default=0.0, ge=0.0, le=60000.0, description="on its hour meter; 0 for a new one"
    )

    @field_validator("sheet_load_frac")
    @classmethod
    def _rising(cls, value: list[float]) -> list[float]:
        few = 0 < len(value) < _FEWEST_LOADS
        if not rising(value) or few or any(not 0.0 <= load <= 1.1 for load in value):
            raise ValueError("two or more numbers from 0 to 1.1, each above the one before it")
        return value

    @field_validator("sheet_fuel_l_per_h")
    @classmethod
    def _one_a_load(cls, value: list[float], info: ValidationInfo) -> list[float]:
        check_one_each(value, "generator.sheet_load_frac", info)
        if not rising(value) or any(litres <= 0.0 for litres in value):
            raise ValueError("numbers above 0, each above the one before it")
        return value

    @property
    def there(self) -> bool:
        """Whether there is one."""
        return self.power_w > 0.0

    @property
    def alternator_va(self) -> float:
        """Rating of its alternator, whatever air does to the engine [VA]."""
        return self.power_w / self.power_factor

    @property
    def kind(self) -> Engine:
        """What its engine is."""
        return engines()[self.engine]

    @property
    def serviced_each_h(self) -> float:
        """Hours from one service to the next [h]."""
        return self.kind.service_h if self.service_h is None else self.service_h

    @property
    def lasts_h(self) -> float:
        """Hours until it is overhauled or replaced [h]."""
        return self.kind.life_h if self.life_h is None else self.life_h


CO_ALARM_WHERE = "room nearest to the generator where people sleep or stay"
"""Where the carbon monoxide alarm hangs, and is tested before the engine is started."""
START_ABOVE_FRAC = float(constant("generator.start_above_frac"))
USUAL_STOP_FRAC = float(constant("generator.usual_stop_frac"))
LEAST_SPAN_FRAC = float(constant("generator.least_span_frac"))
FULL_FRAC = float(constant("generator.full_frac"))


@dataclass(frozen=True, kw_only=True)
class BankLevels:
    """States of charge that a generator's levels are held against, [0 to 1].

    Parameters
    ----------
    reserve_frac : float
        Of the bank that it charges.
    shed_frac, return_frac : float
        Of the nonessential board, where the same bank feeds it; else the reserve.
    """

    reserve_frac: float
    shed_frac: float
    return_frac: float


def generator_levels(
    start_frac: float | None, stop_frac: float | None, bank: BankLevels
) -> tuple[float, float]:
    """States of charge at which a generator starts and stops, [0 to 1].

    What the site file leaves out lies so: the engine starts before the last of the nonessential
    board is shed, which is then without supply only when the engine fails; it stops where charging
    gets slow, but not before all of that board is back. Whoever would rather have that
    board wait than burn fuel gives a start below its shed level.

    Parameters
    ----------
    start_frac, stop_frac : float or None
        As the site file has them.
    bank : BankLevels

    Examples
    --------
    >>> levels = BankLevels(reserve_frac=0.5, shed_frac=0.6, return_frac=0.75)
    >>> generator_levels(None, None, levels)
    (0.65, 0.8)
    """
    low, high = bank.shed_frac, bank.return_frac
    if start_frac is None:
        start_frac = round(low + min(START_ABOVE_FRAC, 0.25 * (1.0 - low)), 4)
    if stop_frac is None:
        most = max(FULL_FRAC, 0.5 * (start_frac + 1.0))
        wanted = min(max(USUAL_STOP_FRAC, start_frac + LEAST_SPAN_FRAC), most)
        stop_frac = round(max(wanted, high), 4)
    return start_frac, stop_frac


def generator_faults(sound: Sound) -> Iterator[Fault]:
    """A stop that is no higher than the start; a start that lies where nothing is drawn."""
    names = ("min_soc_frac", "nonessential_shed_frac", "nonessential_return_frac")
    reserve, shed, back = (sound.get("battery", name) for name in names)
    if not sound.get("generator", "power_w") or None in (reserve, shed, back):
        return
    apart = sound.get("supply", "layout") == "separate-banks"
    bank = BankLevels(reserve_frac=reserve, shed_frac=reserve if apart else shed,
                      return_frac=reserve if apart else back)  # fmt: skip
    start, stop = generator_levels(
        sound.get("generator", "start_frac"), sound.get("generator", "stop_frac"), bank
    )
    if start >= stop:
        yield sound.fault(
            ("generator", "stop_frac"), **worded("sitefile", "generator", stop=stop, start=start),
        )  # fmt: skip
    if start <= reserve:
        yield sound.fault(
            ("generator", "start_frac"),
            **worded("sitefile", "generator-reserve", start=start, reserve=reserve,
                     shed=bank.shed_frac),
        )  # fmt: skip
