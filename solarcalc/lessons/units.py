"""Reads what a learner writes: a number and its unit, as people write them on site.

A small reader of our own and no unit library: what is asked for is a comma for a point, words
such as "metres", counts of things, and a kind sentence for what cannot be read; the libraries
have the table of units alone, which is the short part.
"""

from __future__ import annotations

import math
import re
from functools import cache

from solarcalc.basis.quantity import beside_unit, three_figures

_DIMENSIONS: dict[str, tuple[str, dict[str, float]]] = {
    "length": ("a length", {"m": 1.0, "km": 1e3, "cm": 1e-2, "mm": 1e-3}),
    "area": ("an area", {"m²": 1.0, "cm²": 1e-4, "mm²": 1e-6}),
    "volume": ("a volume", {"m³": 1.0, "l": 1e-3}),
    "mass": ("a mass", {"kg": 1.0, "g": 1e-3, "t": 1e3}),
    "power": ("a power", {"W": 1.0, "kW": 1e3, "MW": 1e6, "mW": 1e-3, "Wp": 1.0, "kWp": 1e3}),
    "apparent power": ("an apparent power", {"VA": 1.0, "kVA": 1e3}),
    "energy": ("an energy", {"Wh": 1.0, "kWh": 1e3, "MWh": 1e6}),
    "charge": ("a charge", {"Ah": 1.0, "mAh": 1e-3}),
    "voltage": ("a voltage", {"V": 1.0, "kV": 1e3, "mV": 1e-3}),
    "current": ("a current", {"A": 1.0, "kA": 1e3, "mA": 1e-3}),
    "resistance": ("a resistance", {"Ω": 1.0, "kΩ": 1e3, "MΩ": 1e6, "mΩ": 1e-3}),
    "resistivity": ("a soil resistivity", {"Ω·m": 1.0}),
    "resistance of a length": ("a resistance by length", {"Ω/km": 1e-3, "mΩ/m": 1e-3, "Ω/m": 1.0}),
    "time": ("a time", {"h": 3600.0, "min": 60.0, "s": 1.0, "ms": 1e-3, "days": 86400.0}),
    "years": ("a time in years or months", {"years": 12.0, "months": 1.0}),
    "temperature": ("a temperature", {"°C": 1.0}),
    "difference of temperature": ("a difference of temperature", {"K": 1.0}),
    "angle": ("an angle", {"°": 1.0}),
    "share": ("a share", {"%": 1.0}),
    "irradiance": ("an irradiance", {"W/m²": 1.0, "kW/m²": 1e3}),
    "irradiation": ("an irradiation", {"Wh/m²": 1.0, "kWh/m²": 1e3}),
    "energy a day": ("an energy a day", {"Wh/day": 1.0, "kWh/day": 1e3}),
    "energy a year": ("an energy a year", {"kWh/year": 1.0, "MWh/year": 1e3}),
    "energy by rated power": ("an energy by rated power", {"kWh/kWp": 1.0, "MWh/kWp": 1e3}),
    "hours a day": ("hours a day", {"h/day": 1.0}),
    "air flow": ("a flow of air", {"m³/h": 1.0, "l/s": 3.6, "l/min": 0.06, "m³/min": 60.0}),
    "voltage by temperature": ("a voltage by kelvin", {"V/K": 1.0, "mV/K": 1e-3}),
    "share by temperature": ("a share by kelvin", {"%/K": 1.0}),
    "speed": ("a speed", {"m/s": 1.0}),
    "pressure": ("a pressure", {"Pa": 1.0, "kPa": 1e3}),
    "force": ("a force", {"N": 1.0, "kN": 1e3}),
    "frequency": ("a frequency", {"Hz": 1.0}),
}
"""Dimension: its words, and its units by what one of each is in the first of them."""

_COUNTED = (
    "modules", "strings", "rows", "cells", "batteries", "units", "rods", "fuses", "breakers",
    "people", "boards", "cables", "cycles", "times", "crew-days", "person-days", "pieces",
)
"""Things that are counted; each is a dimension of its own, and "5" alone is always read."""

_SPOKEN = {
    "kohm": "kΩ", "mohm": "mΩ", "Mohm": "MΩ", "MOhm": "MΩ", "megohm": "MΩ", "megohms": "MΩ",
    "ohmm": "Ω·m", "ωm": "Ω·m", "ohm/km": "Ω/km", "sqm": "m²", "sqmm": "mm²", "hr": "h",
    "hrs": "h", "day": "days", "d": "days", "year": "years", "yr": "years", "month": "months",
    "c": "°C", "degc": "°C", "celsius": "°C", "deg": "°", "degree": "°", "degrees": "°",
    "percent": "%", "/cent": "%", "percentage": "%", "kwh/d": "kWh/day", "kwh/a": "kWh/year",
    "kwh/y": "kWh/year", "wh/d": "Wh/day", "h/d": "h/day", "panel": "modules", "panels": "modules",
    "battery": "batteries", "person": "people", "persons": "people", "piece": "pieces",
    "pcs": "pieces", "crewdays": "crew-days", "persondays": "person-days", "y": "years",
    "ohm/m": "Ω/m", "ohm-m": "Ω·m", "kilo": "kg", "kilos": "kg", "kwh/kw": "kWh/kWp",
    "men": "people", "workers": "people", "yrs": "years", "mtr": "m", "mtrs": "m", "pct": "%",
    "nos": "pieces", "wpeak": "Wp", "kwpeak": "kWp", "wattpeak": "Wp",
    "wattspeak": "Wp", "ohm.m": "Ω·m", "solarpanels": "modules", "solarmodules": "modules",
    "pvpanels": "modules", "pvmodules": "modules", "sqcm": "cm²", "mohm/m": "mΩ/m",
    "degreesc": "°C", "degreec": "°C", "degreescelsius": "°C", "degreecelsius": "°C", "psh": "h",
    "peaksunhours": "h", "sunhours": "h", "kilowattpeak": "kWp", "kilowattspeak": "kWp",
}  # fmt: skip
"""Words for units, without spaces and in small letters but where these tell milli from mega."""

_PREFIXES = {"kilo": "k", "mega": "M", "milli": "m", "centi": "c"}
_NAMES = {
    "metre": "m", "meter": "m", "litre": "l", "liter": "l", "gram": "g", "tonne": "t",
    "watt": "W", "volt": "V", "ampere": "A", "amp": "A", "ohm": "Ω", "hour": "h", "minute": "min",
    "second": "s", "pascal": "Pa", "newton": "N", "hertz": "Hz", "kelvin": "K", "day": "day",
    "year": "year",
}  # fmt: skip
"""Units by their names, whatever stands before them: ``"kilowatt-hours per square metre"``."""
_POWERS = {"square": "²", "squared": "²", "sq": "²", "cubic": "³", "cubed": "³"}
_NAMED = re.compile(
    rf"(?:(?P<power>square|sq|cubic)[ .]*)?(?:(?P<prefix>{'|'.join(_PREFIXES)})[ -]?)?(?P<name>"
    rf"{'|'.join(sorted(_NAMES, key=len, reverse=True))})s?(?:[ ](?P<after>squared|cubed))?[ -]*",
    re.IGNORECASE,
)
_PER = re.compile(r"\s*(?:/|\b(?:per|for each)\b|\ba\b(?= (?:day|year)))\s*", re.IGNORECASE)
_HEDGES = r"(?:about|around|roughly|approximately|approx\.?|circa|ca\.?)"

_SPACES = "[ \t\u00a0\u2009\u202f]"
_WRITTEN = re.compile(
    rf"(?P<number>[+-]?(?:\d(?:{_SPACES}?[\d',.])*|[.,]\d+)(?:[eE][+-]?\d+)?){_SPACES}*(?P<unit>.*)"
)


class AnswerError(ValueError):
    """An answer that cannot be read; its text is a sentence for the learner."""


class TwoWaysError(AnswerError):
    """A number that can be read two ways: a comma for thousands, or for a point.

    Parameters
    ----------
    words : str
    values : tuple of float
        Both readings, in the unit that was asked for.
    """

    def __init__(self, words: str, values: tuple[float, ...]) -> None:
        super().__init__(words)
        self.values = values


def read_number(said: object, unit: str) -> float:
    """A learner's answer as a number in `unit`.

    Parameters
    ----------
    said : object
        A text such as ``"3,0 m"`` or ``"300 cm"``, or a number, which is taken to be in `unit`.
    unit : str
        One of those known here, a thing that is counted, or empty for a plain number.

    Raises
    ------
    AnswerError
        With a sentence that says what is amiss: no number, two of them, a number that can be read
        two ways (`TwoWaysError`), a unit that is not known or is one of another kind.

    Examples
    --------
    >>> [read_number(said, "m") for said in ("3 m", "3,0 m", "300 cm", "3", 3)]
    [3.0, 3.0, 3.0, 3.0, 3.0]
    >>> read_number("1 250,5 W", "kW"), read_number("3 modules", "modules")
    (1.2505, 3.0)
    """
    if isinstance(said, bool) or said is None:
        raise AnswerError(_one_number(unit))
    if isinstance(said, (int, float)) or hasattr(said, "item"):
        return _finite(said, unit)
    if not isinstance(said, str) or len(said) > 100:
        raise AnswerError(_one_number(unit))
    text = said.replace("−", "-").replace("–", "-").strip().lstrip("=≈~").strip()
    text = re.sub(rf"(?i)^{_HEDGES}\s+|\s+{_HEDGES}$|(?:\s+|(?<=[va]))[ad]\.?c\.?$", "", text)
    written = _WRITTEN.fullmatch(text)
    if written is None:
        raise AnswerError(_one_number(unit))
    if re.search(r"\d", re.sub(r"(?<=m)\^?[23]\b", "", written["unit"])):
        raise AnswerError(_one_number(unit))
    try:
        return _finite(_number(written["number"]), unit) * _factor(written["unit"], unit)
    except TwoWaysError as both:
        factor = _factor(written["unit"], unit)
        raise TwoWaysError(str(both), tuple(value * factor for value in both.values)) from None


def in_words(value: float, unit: str, figures: int = 3) -> str:
    """A number with its unit as it is said back to a learner, in so many figures.

    Examples
    --------
    >>> in_words(3.0, "m"), in_words(1, "modules"), in_words(283.4567, "V")
    ('3 m', '1 module', '283 V')
    >>> in_words(105.393, "V", figures=4)
    '105.4 V'
    """
    return one_alone(beside_unit(three_figures(float(value), figures), unit))


_ONES = {thing: {"people": "person", "batteries": "battery"}.get(thing, thing.removesuffix("s"))
         for thing in (*_COUNTED, "days", "years", "months", "hours", "boards")}  # fmt: skip
_ONE = re.compile(rf"(?<![\d.,\u202f])\b1([ \u00a0])({'|'.join(_ONES)})\b")


def one_alone(text: str) -> str:
    """A text in which one of a thing is no plural.

    Examples
    --------
    >>> one_alone("3 days − 2 days = 1 days, and 5.1 days")
    '3 days − 2 days = 1 day, and 5.1 days'
    """
    return _ONE.sub(lambda found: f"1{found[1]}{_ONES[found[2]]}", text)


def is_counted(unit: str) -> bool:
    """Whether the unit is a thing that is counted, or none."""
    return unit == "" or unit in _COUNTED


def is_whole(unit: str) -> bool:
    """Whether the unit is a thing that is had whole or not at all."""
    return unit in _COUNTED and unit not in ("times", "crew-days", "person-days")


def is_known_unit(unit: str) -> bool:
    """Whether answers in this unit can be read."""
    return unit == "" or unit in _units()


def _one_number(unit: str) -> str:
    example = beside_unit("3.0" if unit not in _COUNTED else "3", unit)
    return f'Please write one number with its unit in quotes, such as "{example}".'


def _finite(value: object, unit: str) -> float:
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        raise AnswerError(_one_number(unit)) from None
    if not math.isfinite(number):
        raise AnswerError(_one_number(unit))
    return number


def _number(text: str) -> float:
    plain = re.sub(rf"{_SPACES}|'", "", text)
    comma, point = plain.count(","), plain.count(".")
    if comma and point:  # the last of the two is the decimal mark
        if plain.rindex(",") > plain.rindex("."):
            plain = plain.replace(".", "").replace(",", ".")
        else:
            plain = plain.replace(",", "")
    elif comma == 1 and re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", plain):
        ways = plain.replace(",", ""), plain.replace(",", ".")
        raise TwoWaysError(f'"{plain}" can be read two ways: write {" or ".join(ways)}.',
                           tuple(map(float, ways)))
    else:
        plain = plain.replace(",", "" if comma > 1 else ".")
    try:
        return float(plain)
    except ValueError:
        raise AnswerError(f'"{text.strip()}" does not read as one number.') from None


@cache
def _units() -> dict[str, tuple[str, float]]:
    """Each unit: the words of its dimension, and what one of it is in the first of that."""
    known = {unit: (words, factor) for words, units in _DIMENSIONS.values()
             for unit, factor in units.items()}  # fmt: skip
    return known | {thing: (f"a number of {thing}", 1.0) for thing in _COUNTED}


def _factor(written: str, unit: str) -> float:
    """What one of the written unit is in `unit`."""
    if not written:
        return 1.0
    meant = _meant(written)
    if meant is None:
        like = f", such as {unit}" if unit else ""
        raise AnswerError(f'The unit "{written[:20]}" is not known here: write a unit{like}, or'
                          " the number alone.")  # fmt: skip
    words, factor = _units()[meant]
    if unit == "":
        raise AnswerError(f"{meant} is the unit of {words}: here a plain number is asked.")
    asked, whole = _units()[unit]
    if meant in ("pieces", "units") and unit in _COUNTED:
        return 1.0  # so many of what is asked
    if {meant, unit} == {"°C", "K"} or (meant == "°" and unit in ("°C", "K")):
        return 1.0  # asked for a rise or a temperature, "degrees" or the other sign says the same
    if words != asked:
        counted = "" if unit in _COUNTED else f", in {unit}"
        raise AnswerError(f"{meant} is the unit of {words}: here {asked} is asked{counted}.")
    return factor / whole


def _meant(written: str) -> str | None:
    """The known unit that was written, whatever its spelling."""
    plain = written.strip().rstrip(".").replace("\u2126", "Ω").replace("^", "")
    plain = re.sub(r"^(?:working|whole|full) ", "", re.sub(r"\s+squared\b", "²", plain))
    if signs := _signs_of(plain):
        return signs
    plain = re.sub(r"(?<=m)2\b", "²", re.sub(r"(?<=m)3\b", "³", plain))
    plain = _PER.sub("/", plain)
    tight = re.sub(r"[\s·⋅*]+", "", plain)
    for unit in _units():
        if tight in (unit, unit.replace("·", ""), unit.removesuffix("s") if unit in _COUNTED
                     else unit):  # fmt: skip
            return unit
    small = tight.lower().replace("sq.", "sq")
    if spoken := _SPOKEN.get(tight) or _SPOKEN.get(small):
        return spoken
    alike = [unit for unit in _units() if small == unit.replace("·", "").lower()]
    return alike[0] if len(alike) == 1 else None


def _signs_of(written: str) -> str:
    """A known unit written in words, by its signs: ``"kWh/m²"``; empty where it is none."""
    sides = []
    for side in _PER.split(written):
        signs, place = "", 0
        while found := _NAMED.match(side, place):
            prefix, name = (found["prefix"] or "").lower(), found["name"].lower()
            power = _POWERS.get((found["power"] or found["after"] or "").lower(), "")
            signs += f"{_PREFIXES.get(prefix, '')}{_NAMES[name]}{power}"
            place = found.end()
        sides.append(signs if signs and place == len(side) else side)
    said = "/".join(sides)
    return next((unit for unit in _units() if said == unit.replace("·", "") != written), "")
