"""How many modules in series and strings in parallel the controllers take; when fuses are due.

The data sheet's coefficients are enough here: open circuit and working voltage change in a straight
line with the temperature of the cells. Left out, on purpose: the drop along the cable (about the
3 % that is allowed for it), weak light, which lowers the working voltage by a few percent, ageing,
and the spread of the maker's tolerance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from solarcalc.basis.check import Check, checked
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.physics import STC_C
from solarcalc.basis.published import published
from solarcalc.basis.sourced import NO_SOURCE, constant
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.supply import Controller

LIGHT_FACTOR = constant("wiring.light_factor")
LASTING_FACTOR = constant("wiring.lasting_factor")
LASTING_RULES = {"awg": LASTING_FACTOR, "metric": None}
"""By the standard of the cables. NEC 210.20(A), 215.3, 690.9(B), 706: a fuse or breaker carries for
hours no more than 80 % of its rating; IEC 60364-4-43 cl. 433.1 asks for I_b <= I_n alone."""
ABOVE_BANK_V = constant("wiring.above_bank_v")
SYSTEM_MAX_V = constant("wiring.system_max_v")

def lasting_factor(sizes: str) -> float:
    """Rating of a fuse or breaker over the current of three hours and more, at least.

    A factor of the current.

    Parameters
    ----------
    sizes : {"metric", "awg"}
        Of the cables: by which standard the site is built.

    Examples
    --------
    >>> lasting_factor("awg"), lasting_factor("metric")
    (1.25, 1.0)
    """
    factor = LASTING_RULES[sizes]
    return 1.0 if factor is None else float(factor)


_ROUNDING = 1e-9
"""Counts are not lost to the last digit of a division."""


@dataclass(frozen=True, kw_only=True)
class StringCase:
    """What strings are checked with.

    Parameters
    ----------
    module : Module
    controller : Controller
        With its count.
    bank_v : float
        Nominal voltage of the bank, for the charge current [V].
    bank_top_v : float
        The bank at its highest charge, equalising included [V].
    coldest_c : float
        Record low of the air: a cell at dawn is no warmer [degC].
    hottest_cell_c : float
        [degC].
    system_max_v : float
        Highest system voltage on the module's sheet [V].

    Raises
    ------
    InputError
        For a voltage that is not above 0, a top below the nominal voltage, a record low that is
        not below the hottest cell.
    """

    module: Module
    controller: Controller
    bank_v: float
    bank_top_v: float
    coldest_c: float
    hottest_cell_c: float
    system_max_v: float = float(SYSTEM_MAX_V)

    def __post_init__(self) -> None:
        faults = []
        for name in ("bank_v", "bank_top_v", "system_max_v"):
            if not (value := getattr(self, name)) > 0.0:
                faults.append(Fault(where=name, given=f"{value:g} V", allowed="above 0 V"))
        if self.bank_top_v < self.bank_v:
            faults.append(
                Fault(where="bank_top_v", given=f"{self.bank_top_v:g} V",
                      allowed=f"at least the nominal {self.bank_v:g} V",
                      why="a bank is charged above its nominal voltage")
            )  # fmt: skip
        if not self.coldest_c < self.hottest_cell_c:
            faults.append(
                Fault(where="cables.coldest_c",
                      given=f"{self.coldest_c:g} degC with cables.hottest_cell_c"
                      f" = {self.hottest_cell_c:g} degC",
                      allowed="below cables.hottest_cell_c",
                      why="the record low is colder than the hottest cell")
            )  # fmt: skip
        if faults:
            raise InputError(faults)


@dataclass(frozen=True, kw_only=True)
class StringRow:
    """One way to wire the modules.

    Parameters
    ----------
    series, strings : int
        Modules in series; strings in parallel, over all controllers.
    cold_voc_v : float
        Open circuit at the record low [V].
    cold_working_v, hot_working_v : float
        At full power, at the record low and at the hottest cell [V].
    circuit_a : float
        1.25 short circuits of the strings on the fullest controller [A].
    power_w : float
        Of the whole array by the sheet [W].
    charge_a : float
        What the fullest controller would give at that power into the nominal bank [A].
    reasons : tuple of str
        Why it is not allowed; empty where it is.
    reviews : tuple of str
        What is lost although it is allowed.
    """

    series: int
    strings: int
    cold_voc_v: float
    cold_working_v: float
    hot_working_v: float
    circuit_a: float
    power_w: float
    charge_a: float
    reasons: tuple[str, ...]
    reviews: tuple[str, ...]

    @property
    def allowed(self) -> bool:
        """Whether nothing forbids it."""
        return not self.reasons


def open_circuit_v(module: Module, cell_c: float) -> float:
    """Open circuit of one module at a cell temperature [V].

    IEC 62548-1 and NEC 690.7(A)(1): Voc (1 + beta (T - 25)), beta of the data sheet.
    """
    return module.voc_v * (1.0 + module.beta_voc_pct_per_k / 100.0 * (cell_c - STC_C))


def table_open_circuit_v(module: Module, coldest_c: float) -> float | None:
    """Open circuit of one module at the record low by the table of factors [V].

    NEC table 690.7(A), for crystalline silicon without a coefficient. At 25 degC and above it is
    the sheet's own; None below the first row.
    """
    if coldest_c >= STC_C:
        return module.voc_v
    table = published("voltage_factors_690_7")
    pairs = zip(table.numbers("lowest_c"), table.numbers("factor"), strict=True)
    for lowest_c, factor in reversed(list(pairs)):
        if lowest_c is not None and factor is not None and coldest_c >= lowest_c:
            return module.voc_v * factor
    return None


def working_v(module: Module, cell_c: float) -> float:
    """Voltage of one module at full power and a cell temperature [V].

    Vmp (1 + c (T - 25)), where c is the steeper of two approximations: gamma - alpha (power is
    voltage times current, the current rising like the short circuit) and beta Voc / Vmp (as many
    volts for each kelvin as open circuit). The steeper one is lower in heat and higher in cold,
    the safe side at both ends.
    """
    by_power = module.gamma_pmax_pct_per_k - module.alpha_isc_pct_per_k
    by_volts = module.beta_voc_pct_per_k * module.voc_v / module.vmp_v
    return module.vmp_v * (1.0 + min(by_power, by_volts) / 100.0 * (cell_c - STC_C))


def circuit_a(isc_a: float, strings: int = 1) -> float:
    """Largest lasting current of strings in parallel [A]: 1.25 Isc each, NEC 690.8(A).

    Examples
    --------
    >>> circuit_a(10.0)
    12.5
    """
    return float(LIGHT_FACTOR) * isc_a * strings


def charge_a(power_w: float, bank_v: float, efficiency_frac: float = 1.0) -> float:
    """Current into the bank of a controller that tracks its array [A]."""
    return power_w * efficiency_frac / bank_v


def least_working_v(case: StringCase) -> float:
    """What a string must still give at the hottest cell [V]."""
    return max(case.controller.min_tracking_voltage_v, case.bank_top_v + float(ABOVE_BANK_V))


def series_limits(case: StringCase) -> tuple[int, int]:
    """Fewest and most modules in series; the first above the second where none fits."""
    most_v = min(case.controller.max_pv_voltage_v, case.system_max_v)
    most = math.floor(most_v / open_circuit_v(case.module, case.coldest_c) + _ROUNDING)
    hot_v = working_v(case.module, case.hottest_cell_c)
    if hot_v <= 0.0:
        raise InputError(
            Fault(where="cables.hottest_cell_c", given=f"{case.hottest_cell_c:g} degC",
                  allowed="a temperature at which the module still gives a voltage",
                  why=f"its coefficients leave {hot_v:.1f} V")
        )  # fmt: skip
    return math.ceil(least_working_v(case) / hot_v - _ROUNDING), most


def string_row(case: StringCase, series: int, strings: int) -> StringRow:
    """One way to wire, checked.

    Raises
    ------
    InputError
        When a count is below 1.
    """
    for name, count in (("array.modules_in_series", series), ("strings in parallel", strings)):
        if count < 1:
            raise InputError(Fault(where=name, given=f"{count}", allowed="1 or more"))
    module, count = case.module, case.controller.count
    fullest = -(-strings // count)
    power_w = module.pmax_w * series * strings
    row = StringRow(
        series=series,
        strings=strings,
        cold_voc_v=series * open_circuit_v(module, case.coldest_c),
        cold_working_v=series * working_v(module, case.coldest_c),
        hot_working_v=series * working_v(module, case.hottest_cell_c),
        circuit_a=circuit_a(module.isc_a, fullest),
        power_w=power_w,
        charge_a=charge_a(
            power_w * fullest / strings, case.bank_v, case.controller.efficiency_frac
        ),
        reasons=(), reviews=(),
    )  # fmt: skip
    return _with_reasons(case, row)


def _with_reasons(case: StringCase, row: StringRow) -> StringRow:
    controller = case.controller
    reasons, reviews = [], []
    if row.cold_voc_v > controller.max_pv_voltage_v:
        reasons.append(
            f"cold open circuit {row.cold_voc_v:.1f} V above the controller's"
            f" {controller.max_pv_voltage_v:g} V"
        )
    if row.cold_voc_v > case.system_max_v:
        reasons.append(
            f"cold open circuit {row.cold_voc_v:.1f} V above the module's {case.system_max_v:g} V"
        )
    if row.hot_working_v < controller.min_tracking_voltage_v:
        reasons.append(
            f"hot working voltage {row.hot_working_v:.1f} V below the controller's"
            f" {controller.min_tracking_voltage_v:g} V"
        )
    elif row.hot_working_v < least_working_v(case):
        reasons.append(
            f"hot working voltage {row.hot_working_v:.1f} V not {float(ABOVE_BANK_V):g} V above"
            f" the bank's {case.bank_top_v:.1f} V"
        )
    if row.cold_working_v > controller.max_tracking_voltage_v:
        reviews.append(
            f"cold working voltage {row.cold_working_v:.1f} V above the tracking window's"
            f" {controller.max_tracking_voltage_v:g} V"
        )
    if row.charge_a > controller.max_charge_current_a:
        digits = int(round(row.charge_a) <= controller.max_charge_current_a)  # told apart from it
        reviews.append(
            f"{row.charge_a:.{digits}f} A in full sun where a controller gives"
            f" {controller.max_charge_current_a:g} A"
        )
    return StringRow(**{**row.__dict__, "reasons": tuple(reasons), "reviews": tuple(reviews)})


@dataclass(frozen=True, kw_only=True, eq=False)
class PlaneStrings:
    """What the strings of one roof plane come to, and what they are checked with.

    Parameters
    ----------
    site : Site
        Of the plane, one of `Site.sites`.
    case : StringCase
    fuses : StringFuses
    cold_string_v : float
        Open circuit of a string at the record low [V].
    """

    site: Site
    case: StringCase
    fuses: StringFuses
    cold_string_v: float


RULE = "IEC 62548-1 (62548:2016 cl. 6.5.3)"
LEAST_FACTOR = constant("wiring.least_factor")
MOST_FACTOR = constant("wiring.most_factor")


@dataclass(frozen=True, kw_only=True)
class StringFuses:
    """What the strings that share one combiner or controller need.

    Parameters
    ----------
    strings : int
        In parallel, on the fullest combiner or controller.
    backfeed_a : float
        What the others drive into one that is short-circuited [A].
    max_fuse_a : float
        Largest fuse on the module's sheet [A].
    needed : bool
    least_a, most_a : float
        The rating lies above the first, below the second and not above `max_fuse_a` [A].
    rated_a : float or None
        The smallest that is made inside; None where none is needed, or none is made.
    rated_v : float
        Least rated direct voltage: the string's cold open circuit [V].
    fuse_count : int
        Both poles of each string where the array floats, else one.
    cable_a : float
        Least capacity of the string's cable: the fuse's rating, or without fuses the current that
        may flow back [A].
    """

    strings: int
    backfeed_a: float
    max_fuse_a: float
    needed: bool
    least_a: float
    most_a: float
    rated_a: float | None
    rated_v: float
    fuse_count: int
    cable_a: float


def string_fuses(
    *, isc_a: float, strings: int, max_fuse_a: float, cold_voc_v: float, floating: bool = True,
    sizes: str = "metric",
) -> StringFuses:
    """Whether strings need fuses, and which.

    Needed where (Ns - 1) Isc is above the largest fuse of the module; then 1.5 Isc < In < 2.4 Isc
    and In not above that largest fuse (IEC 62548). The formula decides, not the count: three
    strings may need none.

    Parameters
    ----------
    isc_a : float
        Short circuit of a string by its sheet [A], above 0.
    strings : int
        In parallel on the fullest combiner or controller, 1 or more.
    max_fuse_a : float
        Largest fuse on the module's sheet [A], above 0.
    cold_voc_v : float
        Open circuit of a string at the record low [V], above 0.
    floating : bool
        Neither pole earthed: a fuse in both.
    sizes : {"metric", "awg"}
        Of the cables; by the American rule a fuse is at least 1.25 times 1.25 Isc (NEC 690.9(B)).

    Raises
    ------
    InputError
        When one of them is not above 0.
    """
    given = {
        "module.isc_a": isc_a, "strings in parallel": strings,
        "protection.string_fuse_max_a": max_fuse_a, "cold open circuit of a string": cold_voc_v,
    }  # fmt: skip
    faults = [
        Fault(where=name, given=f"{value:g}", allowed="above 0")
        for name, value in given.items()
        if not (value > 0.0 and math.isfinite(value))
    ]
    if faults:
        raise InputError(faults)
    backfeed_a = (strings - 1) * isc_a
    needed = backfeed_a > max_fuse_a
    least_a, most_a = float(LEAST_FACTOR) * isc_a, float(MOST_FACTOR) * isc_a
    least_a = max(least_a, lasting_factor(sizes) * circuit_a(isc_a))
    made = _made_a()
    inside = [each for each in made if least_a < each < most_a and each <= max_fuse_a]
    rated_a = inside[0] if needed and inside else None
    cable_a = max(float(LIGHT_FACTOR) * isc_a, float(LIGHT_FACTOR) * backfeed_a)
    if needed:
        cable_a = max(float(LIGHT_FACTOR) * isc_a, rated_a or max_fuse_a)
    return StringFuses(
        strings=strings, backfeed_a=backfeed_a, max_fuse_a=max_fuse_a, needed=needed,
        least_a=least_a, most_a=most_a, rated_a=rated_a, rated_v=cold_voc_v,
        fuse_count=(2 if floating else 1) * strings if needed else 0, cable_a=cable_a,
    )  # fmt: skip


def _made_a() -> list[float]:
    table = published("device_ratings")
    return sorted(float(row["rating_a"]) for row in table.rows if row["kind"] == "fuse")


def string_fuse_checks(fuses: StringFuses) -> list[Check]:
    """Whether what the other strings drive into a faulty one is held: by its modules or a fuse."""
    item, found = "Strings in parallel without fuses", f"{fuses.backfeed_a:.2f}"
    limit = f"at most {fuses.max_fuse_a:g}"
    clause = f"{RULE}: current back into one string against the module's largest fuse"
    if fuses.needed:
        item = f"A fuse for each string, as they can drive {found} A into a faulty one"
        found = "none made" if fuses.rated_a is None else f"{fuses.rated_a:g}"
        limit = f"above {fuses.least_a:.2f} A, below {fuses.most_a:.2f} A, {limit} A"
        clause = f"{RULE}; ratings of data/tables/device_ratings.csv"
    return [
        checked(
            not fuses.needed or fuses.rated_a is not None, "failed",
            rule="wiring/string-fuse", kind="safety",
            item=item, found=found, limit=limit, unit="A", clause=clause,
            remedy="fewer strings on one combiner, or modules whose sheet allows a larger fuse;"
            " without a fuse that suits, a fault burns the module or its cable",
        )
    ]  # fmt: skip


def string_fuse_advice(fuses: StringFuses) -> tuple[str, ...]:
    """What to ask for and how to work on it, in sentences."""
    if not fuses.needed:
        return (
            "No string fuses are needed while no string is added: check again before one is.",
            "The cable of each string must carry the current that the others drive back:"
            f" {fuses.cable_a:.1f} A or more.",
        )
    poles = "both poles" if fuses.fuse_count == 2 * fuses.strings else "the pole not earthed"
    rated = "no rating suits" if fuses.rated_a is None else f"{fuses.rated_a:g} A"
    return (
        f"{fuses.fuse_count} fuses on the fullest controller, made for photovoltaic strings (gPV,"
        f" IEC 60269-6), {rated}, for at"
        f" least {math.ceil(fuses.rated_v):d} V direct current, in {poles} of each string.",
        "No fuse for alternating current, no automotive fuse: neither can put out the arc.",
        f"The cable of each string must carry {fuses.cable_a:g} A or more.",
        "Never pull a fuse under load: open the isolator first, then measure that no current"
        f" flows. A fuse that warms its box needs a lower load or a larger box ({NO_SOURCE}).",
        "Local codes and a licensed electrician decide; where they ask for fuses, fit them.",
    )
