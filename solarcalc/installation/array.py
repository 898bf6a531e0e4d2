"""Parts of the array: modules and what holds them, connectors, combiners."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from solarcalc.basis.sourced import FROM_MEMORY, NO_SOURCE, constant
from solarcalc.installation.records import (
    Bought,
    Chosen,
    Label,
    Part,
    PlaneBuilt,
    module_bought,
    rail_bought,
)
from solarcalc.roof.hardware import Hardware
from solarcalc.sitefile.roof import Rails
from solarcalc.sitefile.structure import Structure
from solarcalc.structure.plan import StructurePlan
from solarcalc.wiring.runs import of_plane, plane_key, plane_number, strings_by_controller
from solarcalc.wiring.string_checks import strings_by_plane
from solarcalc.wiring.string_plan import circuit_a

SIGNS_RULE = f"IEC 62548-1 clause on marking and IEC 60364-7-712.514, {FROM_MEMORY}"
MOST_STRINGS_LISTED = 12
"""Strings that have a line of their own in the label schedule; more share one line."""
CABLE_SIGN_EVERY_M = float(constant("installation.cable_sign_every_m"))


def array_parts(chosen: Chosen) -> Iterator[Part]:
    """Modules, what holds them, connectors and combiners, roof plane by roof plane."""
    for number, one in enumerate(chosen.planes, start=1):
        for part in _parts_of_plane(one):
            yield replace(part, key=plane_key(part.key, number), name=of_plane(part.name, one.site))


def _parts_of_plane(chosen: PlaneBuilt) -> Iterator[Part]:
    """Of one plane, from the roof on, by their plain keys."""
    site = chosen.site
    module = site.module
    yield Part(
        key="module", kind="module", name=module.label, count=site.array.module_count,
        place="roof", drawn_on=("single-line", "earthing"), work="module", earthed=True,
        bought=module_bought(module),
        tests=("voltage", "current"), mass_kg=site.array.module_count * module.mass_kg,
    )  # fmt: skip
    if chosen.hardware is not None:
        yield from fixing_parts(chosen.hardware, site.rails, site.structure)
    if chosen.structure is not None:
        yield from ballast_parts(chosen.structure)
    strings = site.array.string_count
    yield Part(
        key="string-connector", kind="string-connector", name="String connector pair (plug and"
        " socket)",
        count=strings, place="roof", loose=True, work="connector_pair",
        bought=Bought(item="string-connector"),
        labels=(Label(label="Sign 2", words="Connector: do not open under load",
                      where="at each string's connectors", count=2 * strings, rule=SIGNS_RULE),),
    )  # fmt: skip
    yield _combiner(chosen)


def fixing_parts(
    parts: Hardware, rails: Rails, structure: Structure
) -> Iterator[Part]:
    """Rails, clamps, feet and joints, with what lies on the roof of them by mass."""
    for key, name, count, bought, work, mass_kg in (
        ("rail", "Rail, stock length", parts.stock_count, rail_bought(rails), "",
         parts.rail_m * rails.mass_kg_per_m),
        ("mid-clamp", "Mid clamp", parts.mid_clamp_count, None, "", 0.0),
        ("end-clamp", "End clamp", parts.end_clamp_count, None, "", 0.0),
        (*_foot(structure, parts.foot_count), parts.foot_count * rails.foot_mass_kg),
        ("rail-splice", "Rail splice", parts.splice_count + parts.expansion_joint_count,
         None, "", 0.0),
    ):  # fmt: skip
        if count:
            yield Part(key=key, kind=key, name=name, count=count, place="roof", loose=True,
                       bought=bought or Bought(item=key), work=work, mass_kg=mass_kg)  # fmt: skip


_FIXINGS = {
    "concrete": ("anchor", "anchor in the slab"), "sheet": ("purlin", "screwed to a purlin"),
    "tile": ("hook", "roof hook on a rafter"),
}  # fmt: skip
"""Roof fixing by covering: end of its key and its words."""


def _foot(structure: Structure, count: int) -> tuple[str, str, int, Bought, str]:
    """What a rail stands on: a fixing by the covering of the roof, or a foot under ballast."""
    if structure.held_by == "ballast":
        key = "ballast-foot"
        return key, "Foot of a ballasted row, with its pad", count, Bought(item=key), "ballast_foot"
    very, words = _FIXINGS.get(structure.covering or "", ("", ""))
    return ("roof-foot", "Roof fixing (foot)", count,
            Bought(item="roof-foot", very=very, words=words), "foot")


def ballast_parts(plan: StructurePlan) -> Iterator[Part]:
    """Blocks that hold ballasted rows down, preliminary until a qualified person has assessed."""
    each_kg = plan.structure.block_mass_kg
    if plan.block_count:
        yield Part(
            key="ballast-block", kind="ballast-block", name="Ballast block, preliminary",
            count=plan.block_count, place="roof", loose=True, work="ballast_block",
            bought=Bought(item="ballast-block", very=f"{each_kg:g}kg", words=f"{each_kg:g} kg",
                          size=each_kg),
            mass_kg=plan.ballast_kg,
        )  # fmt: skip


def _combiner(chosen: PlaneBuilt) -> Part:
    """A box for each controller, where its strings are joined."""
    site = chosen.site
    count, most = site.controller.count, strings_by_controller(site)[0]
    each_a = circuit_a(site.module.isc_a)
    rating = (
        f"PV array: at most {math.ceil(chosen.cold_string_v)} V d.c. open circuit,"
        f" {each_a:.1f} A a string"
    )
    return Part(
        key="combiner", kind="combiner", count=count, place="roof", where="roof, at the modules",
        name=f"Combiner box of {most} strings" if most > 1 else "Joint box of a string",
        rated_a=each_a * most, drawn_on=("single-line", "earthing"), earthed=True,
        bought=Bought(item="combiner", very=f"{most}s",
                      words=f"{most} string{'s' * (most > 1)}", size=most),
        work="device",
        labels=(
            Label(label="Sign 3", words="PV combiner. Live by day, also with the isolator off."
                  f" {rating}", where="outside and inside of each combiner", count=2 * count,
                  rule=SIGNS_RULE),
        ),
    )  # fmt: skip


def string_labels(chosen: Chosen, key: str) -> tuple[Label, ...]:
    """Names of the strings of a roof plane, that of its run, at both ends of both poles."""
    names = strings_by_plane(chosen.site)[plane_number(key) - 1]
    places = "at the module's connector, and at the combiner's terminal of the same name"
    if len(names) > MOST_STRINGS_LISTED:
        return (Label(label=f"{names[0]} to {names[-1]}, + and −", count=4 * len(names),
                      words="name and sign, such as S1+ and S1−", where=places,
                      rule=NO_SOURCE),)  # fmt: skip
    return tuple(
        Label(label=f"{name}+, {name}−", words=f"{name}+ on the positive, {name}− on the negative",
              where=places, count=4, rule=NO_SOURCE)
        for name in names
    )  # fmt: skip


def dc_main_labels(chosen: Chosen, key: str) -> tuple[Label, ...]:
    """Signs along the direct-current cables that leave a roof plane, that of the run."""
    run = chosen.run(key).run
    along = 1 + int(run.length_m / CABLE_SIGN_EVERY_M)
    return (Label(
        label="Sign 1", words="SOLAR DC: live in any daylight",
        where=f"along DC cables and duct, every {CABLE_SIGN_EVERY_M:g} m and at each end that"
        " enters an enclosure",
        count=along + 2 * run.count, rule=SIGNS_RULE,
    ),)  # fmt: skip
