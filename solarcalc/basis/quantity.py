"""A name with its unit last, read back as words and a unit; numbers as they stand on paper."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping

from solarcalc.basis.hours import MONTHS

UNITS: dict[str, str] = {
    "kwh_per_kw_per_year": "kWh/kW per year",
    "kwh_per_m2_per_year": "kWh/m² per year",
    "kwh_per_day": "kWh/day",
    "kwh_per_year": "kWh/year",
    "kwh_per_m2": "kWh/m²",
    "kwh_per_kw": "kWh/kW",
    "kwh_per_kwp": "kWh/kWp",
    "kwh_per_kwh": "kWh/kWh",
    "kg_per_m2": "kg/m²",
    "kg_per_m": "kg/m",
    "pct_per_k": "%/K",
    "pct_per_year": "%/year",
    "w_per_m2": "W/m²",
    "w_m2": "W/m²",
    "kwh_m2_day": "kWh/m² per day",
    "m_per_s": "m/s",
    "m_s": "m/s",
    "ug_m3": "µg/m³",
    "l_per_h": "l/h",
    "l_per_h_per_kw": "l/h per kW",
    "l_per_kwh": "l/kWh",
    "per_kwh": "per kWh",
    "per_l": "per l",
    "h_per_day": "h/day",
    "h_per_year": "h/year",
    "per_year": "a year",
    "per_day": "a day",
    "mwh": "MWh",
    "kwh": "kWh",
    "wh": "Wh",
    "kw": "kW",
    "kwp": "kWp",
    "kva": "kVA",
    "va": "VA",
    "w": "W",
    "kv": "kV",
    "v": "V",
    "a": "A",
    "ah": "Ah",
    "ohm": "Ω",
    "ohm_m": "Ω·m",
    "ohm_per_km": "Ω/km",
    "mohm": "mΩ",
    "ka": "kA",
    "ma": "mA",
    "k_m_per_w": "K m/W",
    "w_per_k": "W/K",
    "m3_per_h": "m³/h",
    "cm2": "cm²",
    "kn": "kN",
    "hz": "Hz",
    "kpa": "kPa",
    "deg": "°",
    "degc": "°C",
    "c": "°C",
    "k": "K",
    "km": "km",
    "m": "m",
    "m2": "m²",
    "m3": "m³",
    "cm": "cm",
    "mm": "mm",
    "mm2": "mm²",
    "kg": "kg",
    "l": "l",
    "hours": "h",
    "h": "h",
    "min": "min",
    "s": "s",
    "days": "days",
    "months": "months",
    "years": "years",
    "pct": "%",
    "frac": "%",
}
"""Suffix of a name: unit as printed. A fraction (0 to 1) is printed in percent."""

_NAMED: dict[str, tuple[str, str]] = {
    "price_of_a_kwp": ("price per kWp", ""),
    "levelised_cost_per_kwh": ("levelised cost per kWh supplied", ""),
    "levelised_cost_per_kwh_generated": ("levelised cost per kWh generated", ""),
    "present_cost_per_kwh": ("cost per kWh at present", ""),
    "battery_service_life_years": ("expected battery service life", "years"),
    "payback_years": ("simple payback period", "years"),
    "payback_at_todays_prices_years": ("simple payback period at today's prices", "years"),
    "discounted_payback_years": ("discounted payback period", "years"),
    "present_value": ("net present value", ""),
    "return_frac": ("internal rate of return", "%"),
    "return_at_todays_prices_frac": ("internal rate of return at today's prices", "%"),
    "curtailed_energy_frac": ("curtailed, of available energy", "%"),
    "crew_days": ("crew-days", ""),
    "thunderstorm_days": ("thunderstorm days", "days/year"),
    "person_days": ("person-days", ""),
}
"""Names whose last word is no plain unit, as printed."""

_WORDS: dict[str, str] = {
    "efficiency_200_w_m2_frac": "efficiency at 200 W/m²",
    "available_kwh": "available at the battery bus",
    "curtailed_battery_full_kwh": "curtailed while the battery was full",
    "curtailed_charge_current_kwh": "curtailed by the charging current limit",
    "curtailed_temperature_kwh": "curtailed by battery temperature",
    "rated_battery_kwh": "battery energy, rated",
    "usable_battery_kwh": "battery energy, usable",
    "slow_discharge_capacity_kwh": "battery energy at slow discharge",
    "essential_demand_kwh": "essential demand",
    "essential_without_supply_h": "essential loads without supply",
    "essential_without_supply_weak_light_h":
        "essential loads without supply, modules weak in low light",
    "essential_longest_without_supply_h": "longest time without supply, essential loads",
    "essential_not_supplied_frac": "essential demand not supplied",
    "nonessential_demand_kwh": "non-essential demand",
    "nonessential_short_of_demand_h": "non-essential loads short of their demand",
    "nonessential_not_supplied_frac": "non-essential demand not supplied",
    "lowest_charge_frac": "lowest state of charge",
    "mean_charge_frac": "mean state of charge",
    "full_cycles_per_year": "equivalent full cycles",
    "generator_hours": "generator run time",
    "fuel_l": "generator fuel",
    "test_count": "tests",
    "done_count": "tests done",
    "passed_count": "tests passed",
    "failed_count": "tests failed",
    "review_count": "tests to review",
    "not_assessed_count": "tests not assessed",
    "not_done_count": "tests not done",
    "cause_count": "likely causes found",
    "likely_cause": "first likely cause",
    "electrode_computed_ohm": "earth electrode resistance, computed",
    "electrode_worst_season_ohm": "earth electrode resistance, worst season",
    "electrode_allowed_ohm": "earth electrode resistance, maximum",
    "rods_needed": "earth rods needed",
    "main_earthing_terminal_connections": "conductors at the main earthing terminal",
    "ventilation_m3_per_h": "battery room ventilation",
    "free_vent_cm2": "free area of each ventilation opening",
    "battery_safety_distance_mm": "distance from sparks around the battery, minimum",
    "battery_mean_c": "battery temperature, annual mean",
    "battery_hottest_c": "battery temperature, hottest hour",
    "room_cooling_kwh_per_year": "heat to remove from the power room",
    "floor_load_kg_per_m2": "floor load of the battery rack",
    "string_count": "strings",
    "string_cold_open_circuit_v": "string open-circuit voltage, coldest morning",
    "string_hot_working_v": "string working voltage, hottest cells",
    "string_coldest_voltage_v": "string open-circuit voltage, coldest hour of the weather year",
    "dc_main_cable": "PV DC main cable",
    "dc_main_capacity_a": "PV DC main cable, current-carrying capacity",
    "cable_core_m": "cable cores, total length",
    "cable_loss_kwh_per_year": "energy lost in cables",
    "cable_loss_of_used_energy_frac": "energy lost in cables, of energy used",
    "voltage_drop_full_load_frac": "voltage drop at full load",
    "duct_fill_frac": "cable duct fill",
    "largest_fault_ka": "largest fault current in a cable",
    "device_count": "protective and switching devices",
    "days_read": "days in the logger's file",
    "step_min": "logger interval",
    "measured_kwh": "measured energy",
    "missing_frac": "readings missing",
    "of_expected_frac": "measured, of expected energy",
    "finding_count": "findings",
    "lost_to_dust_kwh": "energy lost to soiling",
    "lost_to_string_kwh": "energy lost to a string out of operation",
    "lost_to_shade_kwh": "energy lost to shading not in the design",
    "detection_limit_frac": "smallest detectable shortfall",
    "site_row_pitch_m": "row pitch of the site",
    "shadow_rule_pitch_m": "row pitch by the shadow rule",
    "task_count": "tasks",
    "critical_task_count": "tasks on the critical path",
    "potential_ac_energy_kwh": "potential AC energy",
    "p50_energy_kwh": "energy of a median year (P50)",
    "p90_energy_kwh": "energy exceeded in nine years of ten (P90)",
    "standard_deviation_frac": "standard deviation of the year's energy",
    **{f"potential_ac_{month.lower()}_kwh": f"potential AC energy, {month}" for month in MONTHS},
    **{f"{way}_{name}": f"{way}: {words}" for way in ("portrait", "landscape") for name, words in (
        ("module_count", "modules that fit"), ("array_kwp", "array"), ("row_pitch_m", "row pitch"),
        ("array_energy_kwh", "array energy"),
        ("array_yield_kwh_per_kwp", "array yield"),
        ("obstacle_shading_frac", "obstacle shading loss"),
        ("row_shade_frac", "inter-row shading loss"),
        ("dirt_band_frac", "dirt band loss"), ("dust_frac", "soiling loss"),
        ("rail_m", "mounting rail"), ("rail_stock_count", "rail lengths to buy"),
        ("mid_clamp_count", "mid clamps"), ("end_clamp_count", "end clamps"),
        ("roof_foot_count", "roof fixings"), ("area_used_m2", "roof area used"),
        ("dead_load_kg_per_m2", "dead load on the modules' area"))},
}
"""Names that read badly without their small words, as printed; their unit is the suffix's."""

_BY_LENGTH = sorted(UNITS, key=len, reverse=True)


def words_and_unit(name: str) -> tuple[str, str]:
    """Words and unit of a name with its unit last: ``"yearly_energy_kwh"``.

    Examples
    --------
    >>> words_and_unit("yearly_energy_kwh")
    ('yearly energy', 'kWh')
    >>> words_and_unit("module_count")
    ('module count', '')
    """
    if name in _NAMED:
        return _NAMED[name]
    for suffix in _BY_LENGTH:
        if name.endswith("_" + suffix):
            return _words_of(name, name.removesuffix("_" + suffix)), UNITS[suffix]
    return _words_of(name, name), ""


def _words_of(name: str, stem: str) -> str:
    return _WORDS.get(name) or stem.replace("_", " ")


MINUS = "−"


def grouped(number: str) -> str:
    """Digits before the point in groups of three, from five digits on (thin spaces); a minus sign.

    Examples
    --------
    >>> grouped("12345.6") == "12" + chr(0x202F) + "345.6"
    True
    >>> grouped("-0.5"), grouped("S1-2")
    ('−0.5', 'S1-2')
    """
    whole, point, rest = number.partition(".")
    sign = whole[:1] if whole[:1] in ("-", "−") else ""
    digits = whole.removeprefix(sign)
    if not digits.isdigit() or (point and not rest.isdigit()):
        return number
    if len(digits) < 5:
        return sign.replace("-", MINUS) + number.removeprefix(sign)
    return sign.replace("-", MINUS) + f"{int(digits):,}".replace(",", "\u202f") + point + rest


def signed(value: float, places: int = 1) -> str:
    """A change with its sign.

    Examples
    --------
    >>> signed(0.25, 2), signed(-12.0), signed(-0.04), signed(10983.0, 0)
    ('+0.25', '−12.0', '0.0', '+10\u202f983')
    """
    text = f"{abs(value):.{places}f}"
    nothing = not float(text)
    return ("" if nothing else "+" if value > 0.0 else MINUS) + grouped(text)


def in_percent(share_frac: float, places: int = 1) -> str:
    """A share in percent, without its sign: what is not all of it is never told as 100.

    Parameters
    ----------
    share_frac : float
        Of a whole [0 to 1]; more than all is told as that.
    places : int
        Decimals.

    Examples
    --------
    >>> in_percent(0.5), in_percent(5490.0 / 5492.0), in_percent(1.0), in_percent(0.9999, 0)
    ('50.0', '99.9', '100.0', '99')
    """
    percent, step = 100.0 * share_frac, 0.1**places
    part = min(percent, 100.0 - step) if percent < 100.0 - _ROUNDING else percent
    return grouped(f"{part:.{places}f}")


def told_share(part_kwh: float, whole_kwh: float) -> float:
    """Share of a whole as a paper tells it beside both: all only where they are printed alike.

    Parameters
    ----------
    part_kwh, whole_kwh : float
        Printed as whole numbers [kWh]; a share of nothing is 0.

    Returns
    -------
    share_frac : float
        [0 to 1]

    Examples
    --------
    >>> told_share(5490.2, 5491.9) < 1.0, told_share(5491.8, 5491.9), told_share(0.0, 0.0)
    (True, 1.0, 0.0)
    """
    share = part_kwh / whole_kwh if whole_kwh > 0.0 else 0.0
    alike = f"{part_kwh:.0f}" == f"{whole_kwh:.0f}" and share > 1.0 - NEARLY_FRAC
    return 1.0 if alike else share


NEARLY_FRAC = 0.0005
"""What one decimal of a percent rounds away [frac]."""
_ROUNDING = 1e-7
"""Percent that a sum of floats may miss of the whole."""
_DIGITS = {"kWp": 2, "years": 1, "kWh/year": 0, "h/year": 0, "kWh": 0, "l": 0, "%": 1, "h": 1}
"""Decimals of a number in a unit; in any other it has three figures."""


def in_unit(value: object, unit: str = "") -> str:
    """One cell of a table whose rows have units of their own; words stay as they are.

    Examples
    --------
    >>> in_unit(9.0, "each"), in_unit(2.7, "kWp"), in_unit(1738.4, "USD"), in_unit(0.0417, "USD")
    ('9', '2.70', '1738', '0.0417')
    >>> in_unit(6.5, "years"), in_unit(12), in_unit("none", "kWp")
    ('6.5', '12', 'none')
    """
    if isinstance(value, str) or value is None:
        return value or ""
    number = float(value)  # type: ignore[arg-type]
    if not math.isfinite(number):
        return "–"
    if unit == "%" and 0.0 < number < 100.0:
        return in_percent(number / 100.0, _DIGITS[unit])
    digits = _DIGITS.get(unit)
    if digits is None or (number.is_integer() and isinstance(value, int)):
        return three_figures(number)
    text = f"{number:.{digits}f}"
    return grouped(text.removeprefix("-") if float(text) == 0.0 else text)


def in_quantity(value: float) -> str:
    """A quantity of a bill or a load: whole, or with one figure after the point.

    Examples
    --------
    >>> in_quantity(23.0), in_quantity(2.3)
    ('23', '2.3')
    """
    return grouped(f"{value:.1f}".removesuffix(".0"))


def three_figures(value: float, figures: int = 3) -> str:
    """Three figures; more before the point, whole where it is whole; never an exponent.

    Less than a millionth is nothing. A reader of more is given more `figures`.

    Examples
    --------
    >>> three_figures(1738.4), three_figures(0.79234), three_figures(2.0), three_figures(-10280.0)
    ('1738', '0.792', '2', '−10\u202f280')
    >>> three_figures(105.393, figures=4)
    '105.4'
    """
    if not math.isfinite(value):
        return "–"
    value = 0.0 if abs(value) < 1e-6 else value
    if value.is_integer():
        return grouped(f"{value + 0.0:.0f}")
    places = max(figures - 1 - math.floor(math.log10(abs(value))), 0)
    text = f"{value:.{places}f}"
    return grouped(text.rstrip("0").rstrip(".") if places else text)


class Figures(str):
    """A number as a page prints it, which another page may print to fewer figures.

    Rounded once, from what it was: 19.0456 is 19.05 and 19, never 19.1.

    Parameters
    ----------
    text : str
    exact : float
        The number before it was rounded.

    Examples
    --------
    >>> Figures("19.05", 19.0456), three_figures(Figures("19.05", 19.0456).exact)
    ('19.05', '19')
    """

    exact: float

    def __new__(cls, text: str, exact: float = math.nan) -> Figures:
        """The text, which keeps its number."""
        found = super().__new__(cls, text)
        found.exact = exact
        return found


def rough_figures(value: float) -> str:
    """At most three figures that count, from a thousand on too: for what is guessed.

    Examples
    --------
    >>> rough_figures(29603.0), rough_figures(8881.0), rough_figures(-0.6)
    ('29\u202f600', '8880', '−0.6')
    """
    return three_figures(float(f"{value:.3g}"))


def with_units(rows: Iterable[Mapping[str, object]], label: str = "") -> list[dict[str, object]]:
    """Rows whose numbers are printed by the unit that stands in brackets in each one's label.

    Parameters
    ----------
    rows : iterable of mapping
    label : str
        Key of the label: ``{"": "array [kWp]", "a": 2.7}``.
    """
    found: list[dict[str, object]] = []
    for row in rows:
        unit = re.search(r"\[([^\[\]]+)\]$", str(row[label]))
        found.append({
            key: value if key == label else in_unit(value, unit[1] if unit else "")
            for key, value in row.items()
        })  # fmt: skip
    return found


def figure(value: float | int | str) -> str:
    """One value for a reader: three figures of one that was computed to more than five.

    Examples
    --------
    >>> figure(0.5465829781102779), figure(16.4439), figure(273.15), figure("0.2 or more")
    ('0.547', '16.4', '273.15', '0.2 or more')
    """
    shown = f"{value:.10g}" if isinstance(value, float) else str(value)
    if isinstance(value, float) and math.isfinite(value) and value % 1.0:
        figures = len(shown.partition("e")[0].replace(".", "").strip("-").lstrip("0"))
        whole = len(str(int(abs(value))))
        if figures > 5:
            shown = f"{value:.{max(whole, 3)}g}"
    return grouped(shown)


_NUMBER = r"[-−+±]?\d[\d\u202f]*(?:,\d{3}(?!\d))*(?:\.\d+)?"
_NEXT = rf"(?:,| to| or| of) {_NUMBER}(?=$|[,;:)]| to | or )"
_COUNTED = re.compile(rf"(?<![\w.-])(?:\d+ × )?{_NUMBER}(?:{_NEXT})*")
"""The first number of a text, or the first product, list or range of numbers."""


_SIGNS = {"degC": "°C", "deg": "°", "ohm": "Ω", "km2": "km²", "m2": "m²", "mm2": "mm²"}


def unit_sign(unit: str) -> str:
    """A unit as a page prints it: the sign of one that is written in letters.

    Examples
    --------
    >>> unit_sign("degC"), unit_sign("W/m2"), unit_sign("ohm m"), unit_sign("% of the bank")
    ('°C', 'W/m²', 'Ω·m', '% of the bank')
    """
    return re.sub(r"[A-Za-z]+2?", lambda word: _SIGNS.get(word[0], word[0]),
                  unit.replace("ohm m", "ohm·m"))


def with_unit(text: str, unit: str) -> str:
    """A text with the unit after its first number or list of numbers; plain words have none.

    Examples
    --------
    >>> with_unit("at most 23 alone, 31 by two", "kg")
    'at most 23 kg alone, 31 by two'
    >>> with_unit("3 × 95", "mm2")
    '3 × 95 mm²'
    >>> with_unit("4 to 10", "kA"), with_unit("not within it", "years")
    ('4 to 10 kA', 'not within it')
    """
    number = _COUNTED.search(text)
    if not unit or number is None:
        return text
    unit = unit_sign(unit)
    said, rest = text[: number.end()], text[number.end():]
    return text if rest.lstrip().startswith((unit, "%")) else f"{beside_unit(said, unit)}{rest}"


def beside_unit(number: str, unit: str) -> str:
    """A number and its unit: a space between them but before the sign of degrees of angle (SI).

    Examples
    --------
    >>> beside_unit("25.8", "°"), beside_unit("25.8", "°C"), beside_unit("1065", "1/year")
    ('25.8°', '25.8 °C', '1065/year')
    """
    if unit.startswith("1/"):
        return f"{number}{unit[1:]}"
    return f"{number}{'' if unit.startswith('°') and unit[1:2] != 'C' else ' '}{unit}".strip()


def on_paper(name: str, value: float | int | str) -> tuple[str, str, str]:
    """Words, printed value and unit of one named value; a fraction becomes percent.

    Examples
    --------
    >>> on_paper("loss_frac", 0.125)
    ('loss', '12.5', '%')
    >>> on_paper("tilt_deg", 15)
    ('tilt', '15', '°')
    """
    words, unit = words_and_unit(name)
    if isinstance(value, str):
        counted = unit != "%" and re.match(r"(?:[a-z]+ ){0,2}[-−]?\d", value)  # "more than 24"
        return words, value, unit if counted else ""
    if name.endswith("_frac"):
        percent = round(float(value) * 100.0, 9)
        value = int(percent) if percent.is_integer() else percent
    if isinstance(value, float) and math.isfinite(value) and abs(value) >= 1e15:
        return words, f"{value:.6g}", unit
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    return words, grouped(str(value)), unit


def is_plain_number(text: str) -> bool:
    """Whether a text is one number as Python writes it.

    Examples
    --------
    >>> is_plain_number("-0.25"), is_plain_number("2 of 7"), is_plain_number("S1")
    (True, False, False)
    """
    return bool(re.fullmatch(r"[-−]?\d+(?:\.\d+)?", text))
