"""The main formulas of the workbooks with the figures of the site put in."""

from __future__ import annotations

import math
from collections.abc import Iterator

from solarcalc.basis.no_answer import or_why
from solarcalc.basis.physics import STC_C
from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.basis.worked import Symbol, Worked
from solarcalc.design import Design
from solarcalc.earthing.electrode import rod_ohm
from solarcalc.energy.diode import Conditions, isc_expected_a
from solarcalc.followup.answer import FollowUp
from solarcalc.followup.separate import EXPECTED, MEASURED
from solarcalc.quote.economics import discounted
from solarcalc.roof.rows import lowest_sun_ratio
from solarcalc.stages.array import Standing
from solarcalc.wiring.runs import record_low_c


@or_why
def yields_worked(design: Design) -> list[Worked]:
    """Reference, array and final yield and the performance ratio of the year."""
    energy = design.energy
    rated = Symbol(tex="P_0", words="rated power", value=energy.peak_kwp, unit="kW")
    array_kwh = float(energy.hours["dc_w"].sum()) / 1000.0
    ways = (
        ("Y_r", "reference yield", energy.reference_yield_h, "H_i", "in-plane irradiation",
         energy.reference_yield_h, "kWh/m²",
         Symbol(tex="G_{STC}", words="irradiance of the test conditions", value=1.0, unit="kW/m²")),
        ("Y_A", "array yield", energy.array_yield_h, "E_A", "energy of the array", array_kwh, "kWh",
         rated),
        ("Y_f", "final yield", energy.final_yield_h, "E_{use}", "potential AC energy",
         energy.ac_kwh, "kWh", rated),
    )  # fmt: skip
    found = [
        Worked(right=r"\frac{<over>}{<under>}",
               symbols={"over": Symbol(tex=over, words=words, value=value, unit=unit, digits=5),
                        "under": under},
               result=Symbol(tex=tex, words=name, value=hours, unit="h"), source="IEC 61724-1")
        for tex, name, hours, over, words, value, unit, under in ways
    ]
    final, reference = found[-1].result, found[0].result
    ratio = Symbol(tex="PR", words="performance ratio", value=energy.performance_ratio, digits=3)
    return [*found, Worked(right=r"\frac{<f>}{<r>}", symbols={"f": final, "r": reference},
                           result=ratio, source="IEC 61724-1")]


@or_why
def cold_string_worked(design: Design) -> Worked:
    """Open-circuit voltage of a string of the first plane at the record low."""
    site = design.planes[0].site
    module, per_k = site.module, site.module.beta_voc_pct_per_k / 100.0
    low_c = record_low_c(site, design.flows.coldest_c)
    return Worked(
        right=r"<n> \cdot <v> \left(1 + <b> \cdot (<t> - 25)\right)",
        symbols={
            "n": Symbol(tex="n", words="modules in series", value=site.array.modules_in_series),
            "v": Symbol(tex="V_{oc}", words="of one module at 25 °C", value=module.voc_v, unit="V"),
            "b": Symbol(tex=r"\beta", words="its coefficient", value=per_k, unit="1/K"),
            "t": Symbol(tex="T", words="record low temperature", value=low_c, unit="°C"),
        },
        result=Symbol(tex="V_{string}", words="highest open-circuit voltage of a string",
                      value=design.electrical.planes[0].cold_string_v, unit="V"),
        source="IEC 62548-1",
    )  # fmt: skip


@or_why
def rod_worked(design: Design) -> Worked:
    """One rod of the site's length and diameter in the ground of the electrode."""
    own, ground = design.site.earthing, design.earth.electrode.ground
    length_m, diameter_m = own.rod_length_m, own.rod_diameter_mm / 1000.0
    return Worked(
        right=r"\frac{<rho>}{2\pi \cdot <l>}\left(\ln\frac{8 \cdot <l>}{<d>} - 1\right)",
        symbols={
            "rho": Symbol(tex=r"\rho", words="soil resistivity", value=ground.resistivity_ohm_m,
                          unit="Ω·m"),
            "l": Symbol(tex="L", words="length of the rod", value=length_m, unit="m"),
            "d": Symbol(tex="d", words="its diameter", value=diameter_m, unit="m"),
        },
        result=Symbol(tex="R", words="resistance of one rod, in the season of the test", unit="Ω",
                      value=rod_ohm(resistivity_ohm_m=ground.resistivity_ohm_m, length_m=length_m,
                                    diameter_m=diameter_m)),
        source="BS 7430, IEEE 142",
    )  # fmt: skip


@or_why
def string_current_worked(
    design: Design, *, light_w_m2: float = 800.0, cell_c: float = 45.0
) -> Worked:
    """Short-circuit current of a string in some light and heat of a test [W/m2], [degC]."""
    module = design.planes[0].site.module
    return Worked(
        right=r"<i> \cdot \frac{<g>}{1000}\left(1 + <a> \cdot (<t> - 25)\right)",
        symbols={
            "i": Symbol(tex="I_{sc,0}", words="by the data sheet", value=module.isc_a, unit="A"),
            "g": Symbol(tex="G", words="irradiance, as an example", value=light_w_m2, unit="W/m²"),
            "a": Symbol(tex=r"\alpha", words="coefficient of the current",
                        value=module.alpha_isc_pct_per_k / 100.0, unit="1/K"),
            "t": Symbol(tex="T", words="cell temperature, as an example", value=cell_c,
                        unit="°C"),
        },
        result=Symbol(tex="I_{sc}", words="expected short-circuit current of a string", unit="A",
                      value=isc_expected_a(module, Conditions(light_w_m2=light_w_m2,
                                                              cell_c=cell_c))),
        source="IEC 60891",
    )  # fmt: skip


@or_why
def rows_worked(design: Design) -> list[Worked]:
    """Least row pitch by the shadow rule, what is shaded below it, and how the roof is used."""
    stands, roof, module = design.array, design.site.roof, design.site.module
    slant = _metres("w", "slant height of a row", stands.rows.slant_m)
    pitch = _metres("p", "row pitch used", stands.pitch_m)
    found = [] if stands.rule_m is None else [_least_pitch(design, stands, slant, stands.rule_m)]
    if found and stands.pitch_m < found[0].result.value:
        least = found[0].result
        found.append(Worked(
            right=r"<w> \left(1 - \frac{<p>}{<least>}\right)",
            symbols={"w": slant, "p": pitch, "least": least},
            result=_metres("w_s", "shaded height of a row, at the lowest sun of the criterion",
                           slant.value * (1.0 - pitch.value / least.value)),
            source="geometry"))  # fmt: skip
    cover = Symbol(tex="GCR", words="slant height over pitch, ground coverage ratio", digits=3,
                   value=slant.value / pitch.value)
    found.append(Worked(right=r"\frac{<w>}{<p>}", symbols={"w": slant, "p": pitch}, result=cover,
                        source="geometry"))
    count = stands.roof_fit.module_count
    used = count * module.length_m * module.width_m / (roof.length_m * roof.depth_m)
    return [*found, Worked(
        right=r"\frac{<n> \cdot <l> \cdot <b>}{<x> \cdot <y>}",
        symbols={"n": Symbol(tex="n", words="modules of the maximum layout", value=count, digits=6),
                 "l": _metres("l", "length of a module", module.length_m),
                 "b": _metres("b", "width of a module", module.width_m),
                 "x": _metres("x", "roof along the eaves", roof.length_m),
                 "y": _metres("y", "roof up the slope", roof.depth_m)},
        result=Symbol(tex="u", words="area utilisation: module area over roof area", value=used,
                      digits=3),
        source="geometry")]  # fmt: skip


def _least_pitch(design: Design, stands: Standing, slant: Symbol, rule_m: float) -> Worked:
    """The pitch of the shadow rule, by the lowest sun or by the free strip that rows leave."""
    rows, array = stands.rows, design.site.array
    lift = Symbol(tex=r"\delta", words="angle between modules and roof", value=rows.lift_deg,
                  unit="°", digits=5)
    result = _metres("p_{min}", "least row pitch of the row-spacing criterion", rule_m)
    ratio = lowest_sun_ratio(
        rows, latitude_deg=design.site.site.latitude_deg, from_solar_h=array.clear_from_solar_h,
        to_solar_h=array.clear_to_solar_h) if rows.lift_deg else None  # fmt: skip
    if ratio is None or rows.slant_m * ratio < rows.least_pitch_m:
        strip = _metres("g", "free strip between rows", rows.least_pitch_m - rows.footprint_m)
        return Worked(right=r"<w> \cdot \cos(<d>^\circ) + <g>",
                      symbols={"w": slant, "d": lift, "g": strip}, result=result,
                      source=f"geometry; strip: {NO_SOURCE}")  # fmt: skip
    along = math.radians(rows.lift_deg)
    sun = math.degrees(math.atan2(math.sin(along), ratio - math.cos(along)))
    return Worked(
        right=r"<w> \left(\cos(<d>^\circ) + \frac{\sin(<d>^\circ)}{\tan(<s>^\circ)}\right)",
        symbols={"w": slant, "d": lift,
                 "s": Symbol(tex=r"\gamma", unit="°", value=sun, digits=5,
                             words="lowest sun above the roof, seen along the rows")},
        result=result, source="geometry, in the form of handbooks for level roofs")  # fmt: skip


def _metres(tex: str, words: str, length_m: float) -> Symbol:
    return Symbol(tex=tex, words=words, value=length_m, unit="m", digits=5)


@or_why
def offer_worked(design: Design) -> list[Worked]:
    """The total of the quote by price and tax, and for each kilowatt: what the customer may see."""
    offer = design.offer
    price = _money("P", "price before tax", offer.price, offer.currency)
    total = _money("T", "total", offer.total, offer.currency)
    tax = Symbol(tex="t", words="tax, share of the price before tax", value=offer.tax_frac)
    found = [Worked(right=r"<p> \cdot (1 + <t>)", symbols={"p": price, "t": tax}, result=total,
                    source="site file, [quote]")]
    if offer.per_kwp is not None:
        rated = Symbol(tex="P_0", words="rated power", value=offer.array_kwp, unit="kWp", digits=5)
        each = _money("T_{kW}", "total by rated power", offer.per_kwp, f"{offer.currency}/kWp")
        found.append(Worked(right=r"\frac{<t>}{<r>}", symbols={"t": total, "r": rated},
                            result=each, source=NO_SOURCE))
    return found


@or_why
def price_worked(design: Design) -> Worked:
    """The price before tax by cost and margin: for the firm alone, never in a customer's paper."""
    offer = design.offer
    return Worked(
        right=r"\frac{<c> + <l>}{1 - <m>}",
        symbols={"c": _money("C_m", "materials of the bill", offer.material_cost, offer.currency),
                 "l": _money("C_l", "labour", offer.labour_cost, offer.currency),
                 "m": Symbol(tex="m", words="margin, share of the price", value=offer.margin_frac)},
        result=_money("P", "price before tax", offer.price, offer.currency),
        source="price list and site file, [quote]")  # fmt: skip


@or_why
def economics_worked(design: Design) -> list[Worked]:
    """Levelised cost of energy supplied, and the simple payback where there is one."""
    found, currency = design.economics, design.prices.currency
    interest = found.plan.interest_frac

    def worth(tex: str, words: str, flows: object) -> Symbol:
        return _money(tex, f"{words}, present value",
                      float(discounted(flows, interest).sum()), currency)  # type: ignore[arg-type]

    energy = float(discounted(found.supplied_kwh, interest).sum())
    costs = {"a": _money("K_0", "price paid at the start", found.plan.first_price, currency),
             "m": worth("K_m", "maintenance", found.maintenance),
             "r": worth("K_r", "replacements", found.replaced),
             "b": worth("K_b", "grid energy and fuel", found.bought)}  # fmt: skip
    shown = [Worked(
        right=r"\frac{<a> + <m> + <r> + <b>}{<e>}",
        symbols={**costs, "e": Symbol(tex="E", words="energy supplied, present value", unit="kWh",
                                      value=energy, digits=7)},
        result=Symbol(tex="c", words="levelised cost of energy supplied", unit=f"{currency}/kWh",
                      value=found.cost_per_kwh_supplied),
        source="NREL/TP-462-5173 (from memory)")]  # fmt: skip
    if found.payback_years:
        last, sums = math.ceil(found.payback_years) - 1, found.net.cumsum()
        shown.append(Worked(
            right=r"<y> + \frac{<left>}{<next>}",
            symbols={"y": Symbol(tex="y", words="last year before it", value=last, unit="years"),
                     "left": _money("S", "still to be recovered then", -sums[last], currency),
                     "next": _money("N", "net saving of the next year", found.net[last + 1],
                                    currency)},
            result=Symbol(tex="T", words="simple payback", value=found.payback_years,
                          unit="years"),
            source="NREL/TP-462-5173 (from memory)"))  # fmt: skip
    return shown


def _money(tex: str, words: str, amount: float, currency: str) -> Symbol:
    return Symbol(tex=tex, words=words, value=float(amount), unit=currency, digits=8)


@or_why
def followup_worked(design: Design, found: FollowUp) -> list[Worked]:
    """Performance ratio of the file, at 25 degC too, and the share of energy that fell short."""
    if found.separated is None:
        sums = found.months[["measured_kwh", "design_kwh"]].sum() if len(found.months) else None
        return [] if sums is None else list(_shortfall(
            sums["measured_kwh"], sums["design_kwh"], "of the design, typical year"))  # fmt: skip
    rated_kw, gamma = design.site.array_w / 1000.0, design.site.module.gamma_pmax_pct_per_k / 100.0
    energy, light, at_25c = (float(found.months[name].sum())
                             for name in ("energy_kwh", "light_kwh_m2", "light_25c_kwh_m2"))
    if not light:
        return []
    mean_c = STC_C + (at_25c / light - 1.0) / gamma
    ratio = Symbol(tex="PR", words="performance ratio of the array",
                   value=energy / rated_kw / light)  # fmt: skip
    held_kwh = sum(one.lost_kwh for one in found.findings if one.kind == "full battery")
    return [
        Worked(right=r"\frac{<e> / <p>}{<h>}",
               symbols={"e": _energy("E_A", "measured energy of the array", energy),
                        "p": Symbol(tex="P_0", words="rated power", value=rated_kw, unit="kW"),
                        "h": Symbol(tex="H_i", words="in-plane irradiation over 1 kW/m²",
                                    value=light, unit="h", digits=5)},
               result=ratio, source="IEC 61724-1"),
        Worked(right=r"\frac{<r>}{1 + <g> \cdot (<t> - 25)}",
               symbols={"r": ratio,
                        "g": Symbol(tex=r"\gamma", words="coefficient of power", value=gamma,
                                    unit="1/K"),
                        "t": Symbol(tex="T_m", words="mean module temperature, weighted by light",
                                    value=mean_c, unit="°C", digits=4)},
               result=Symbol(tex="PR_{25}", words="performance ratio at 25 °C",
                             value=energy / rated_kw / at_25c, digits=4),
               source="IEC 61724-1"),
        *_shortfall(found.separated.losses_kwh[MEASURED], found.separated.losses_kwh[EXPECTED],
                    "of a clean array without faults or shading", held_kwh),
    ]  # fmt: skip


def _shortfall(measured_kwh: float, expected_kwh: float, whose: str, held_kwh: float = 0.0
               ) -> Iterator[Worked]:  # fmt: skip
    """What a full battery did not take is left out of what was expected; none where that is all."""
    if expected_kwh <= held_kwh:
        return
    symbols = {"m": _energy("E_A", "measured energy of the array", measured_kwh),
               "e": _energy("E_e", f"energy expected {whose}", expected_kwh)}  # fmt: skip
    if held_kwh:
        symbols["h"] = _energy("E_h", "curtailed, battery full", held_kwh)
    yield Worked(right=r"1 - \frac{<m>}{<e> - <h>}" if held_kwh else r"1 - \frac{<m>}{<e>}",
                 symbols=symbols, source=NO_SOURCE,
                 result=Symbol(tex="s", words="shortfall, share of what was expected", digits=4,
                               value=1.0 - measured_kwh / (expected_kwh - held_kwh)))


def _energy(tex: str, words: str, energy_kwh: float) -> Symbol:
    return Symbol(tex=tex, words=words, value=float(energy_kwh), unit="kWh", digits=5)
