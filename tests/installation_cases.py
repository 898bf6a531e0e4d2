"""Installations of sites with a cheap, invented year: no weather, a few hours of current."""

from __future__ import annotations

import runpy
from pathlib import Path

import numpy as np

from solarcalc.basis.check import Check
from solarcalc.earthing.bar import BarLine
from solarcalc.earthing.plan import earthing_plan
from solarcalc.installation.build import installation_of, parts_of
from solarcalc.installation.records import Chosen, Installation, PlaneBuilt
from solarcalc.powerroom.plan import layout_of
from solarcalc.protection.neutral import STATE_WORDS  # noqa: F401  for the tests
from solarcalc.sitefile.site import Site
from solarcalc.stages.array import own_hardware
from solarcalc.stages.electrical import electrical_of
from solarcalc.stages.grounds import earthed_of
from solarcalc.stages.structure import structure_of
from solarcalc.wiring.flows import Flows, PlaneFlows

priced = runpy.run_path(str(Path(__file__).with_name("priced_site.py")))["priced"]


def invented_flows(site: Site) -> Flows:
    """Three hours: night, morning and a bright noon of the whole array."""
    share = np.array([0.0, 0.4, 1.0])
    array_w = share * site.array_w
    boards = {
        f"{board}_{kind}_w": share * 0.5 * site.inverter_of(board).continuous_power_w
        for board in ("essential", "nonessential") for kind in ("drawn", "supplied")
    }  # fmt: skip
    drawn_w = sum(boards[f"{board}_drawn_w"] for board in ("essential", "nonessential"))
    bus_w = 0.9 * array_w
    discharge_w = np.maximum(drawn_w - bus_w, 0.0)
    charger_w = share * 300.0 * (site.grid.there or site.generator.there)
    return Flows(
        array_w=array_w, array_v=site.array.modules_in_series * site.module.vmp_v, bus_w=bus_w,
        charge_w=bus_w + discharge_w + charger_w - drawn_w, discharge_w=discharge_w,
        grid_w=share * 500.0 * site.grid.there, generator_w=share * 500.0 * site.generator.there,
        hottest_cell_c=65.0, coldest_c=0.0, hottest_air_c=35.0, soil_c=25.0, room_c=32.0, **boards,
        planes=tuple(_plane_flows(site, one, array_w, bus_w) for one in site.sites)
        if site.planes else (),
    )  # fmt: skip


def _plane_flows(site: Site, one: Site, array_w: np.ndarray, bus_w: np.ndarray) -> PlaneFlows:
    """What a roof plane gives of all, by its rated power."""
    share = one.array_w / site.array_w
    return PlaneFlows(array_w=share * array_w, bus_w=share * bus_w, hottest_cell_c=65.0,
                      array_v=one.array.modules_in_series * site.module.vmp_v)


class _Own:
    """A site, as the stages ask for it."""

    def __init__(self, site: Site) -> None:
        self.site = site


def installed(site: Site) -> Installation:
    """All that is built at a site in that year."""
    electrical = electrical_of(priced(site), invented_flows(site))
    chosen = Chosen(
        site=priced(site), sized=electrical.sized, plan=electrical.plan,
        earth=earthing_plan(site, earthed_of(site, electrical)), layout=layout_of(site),
        planes=tuple(
            PlaneBuilt(site=one.site, hardware=own_hardware(_Own(one.site)),
                       structure=structure_of(_Own(one.site)), cold_string_v=one.cold_string_v)
            for one in electrical.planes
        ),
    )  # fmt: skip
    return installation_of(chosen, parts_of(chosen))


def checks(site: Site) -> tuple[Check, ...]:
    """Checks of protection in that year."""
    return electrical_of(priced(site), invented_flows(site)).plan.checks


def earth(site: Site) -> tuple[BarLine, ...]:
    """Schedule of the earth bar in that year."""
    electrical = electrical_of(priced(site), invented_flows(site))
    return earthing_plan(site, earthed_of(site, electrical)).lines
