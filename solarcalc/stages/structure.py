"""Wind, feet and ballast of a site's own modules, and what is said of them."""

from __future__ import annotations

from collections.abc import Iterator

from solarcalc.basis.check import Check
from solarcalc.siteyear import SiteYear
from solarcalc.stages.array import own_hardware, own_places
from solarcalc.structure.checks import array_on_roof, not_assessed
from solarcalc.structure.plan import StructurePlan, structure_plan
from solarcalc.structure.weight import DeadLoad


def structure_of(own: SiteYear) -> StructurePlan | None:
    """Feet and ballast of the site's own modules.

    None where nobody gave a basic wind velocity, or the roof does not hold the modules.
    """
    site, places = own.site, own_places(own)
    if places is None:
        return None
    return structure_plan(
        site.structure, places=places, roof=site.roof, module=site.module, rails=site.rails
    )


def dead_load_of(own: SiteYear, plan: StructurePlan | None) -> DeadLoad:
    """Array and ballast on the roof: what the parts of the installation there weigh."""
    hardware = own_hardware(own)
    return DeadLoad(mass_kg=hardware.mass_kg + (plan.ballast_kg if plan else 0.0),
                    area_m2=hardware.area_used_m2)  # fmt: skip


def structure_checks(own: SiteYear, plan: StructurePlan | None) -> Iterator[Check]:
    """Checks of the array against wind, and of what holds it."""
    if plan is None:
        yield not_assessed(own.site.structure)
        return
    yield from array_on_roof(
        plan, dead_load_of(own, plan), confirmed_by=own.site.status.roof_confirmed
    )
