"""The main formulas of the workbooks with the figures of the site put in."""

from __future__ import annotations

from solarcalc.basis.no_answer import or_why
from solarcalc.basis.worked import Symbol, Worked
from solarcalc.design import Design
from solarcalc.earthing.electrode import rod_ohm
from solarcalc.energy.diode import Conditions, isc_expected_a
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
