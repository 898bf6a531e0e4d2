"""One site as one lazy record: every stage a property, worked out once, kept while it stands.

This is the only place that knows the order of the stages. A stage may ask for any stage before
it; which tables of the site file it read on its way, its own and those of the stages it asked,
is noted while it runs. `Design.changed` then keeps every stage that read none of the tables that
differ, and every stage for which all that it asked comes to the same again, so that a variant, a
slider, a sensitivity or a candidate of a search cost no more than what the change can touch.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import pandas as pd

from solarcalc.basis.check import Check, on_plane, worst_first
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.no_answer import NoAnswer, checks_or_why, or_why
from solarcalc.basis.text import nearest
from solarcalc.commissioning.facts import TestFacts
from solarcalc.commissioning.line import TestLine
from solarcalc.commissioning.sheet import sheet_of
from solarcalc.earthing.bar import Conductors
from solarcalc.earthing.plan import EarthingPlan, earthing_plan
from solarcalc.energy.light import RowLight
from solarcalc.energy.planes import harvest_of_planes
from solarcalc.energy.year import Harvest
from solarcalc.installation.battery import lead_checks
from solarcalc.installation.build import installation_of, parts_of
from solarcalc.installation.records import Chosen, Installation, Part, PlaneBuilt
from solarcalc.installation.schedules import route_checks
from solarcalc.powerroom.fittings import Entry, entries_of
from solarcalc.powerroom.heat import RoomYear
from solarcalc.powerroom.layout import RoomLayout
from solarcalc.powerroom.plan import RoomPlan, layout_of
from solarcalc.programme.checks import programme_checks
from solarcalc.programme.schedule import Schedule
from solarcalc.protection.plan import ProtectionPlan
from solarcalc.quote.answer import quote_checks
from solarcalc.quote.bill import BillLine
from solarcalc.quote.economics import Economics
from solarcalc.quote.offer import Offer
from solarcalc.quote.price_checks import price_checks, quote_day
from solarcalc.quote.prices import PriceList
from solarcalc.quote.tariff import EnergyBills, energy_bills, fed_in_year
from solarcalc.roof.hardware import Hardware
from solarcalc.sitefile.named import site_and_variant
from solarcalc.sitefile.planes import plane_slug
from solarcalc.sitefile.read import (
    SiteFile,
    as_variant,
    plane_files,
    read_site,
    with_changes,
)
from solarcalc.sitefile.site import Site
from solarcalc.siteyear import sun_over
from solarcalc.stages import battery_life, boards, electrical, grounds, money, status, worksheet
from solarcalc.stages.array import (
    Standing,
    least_bus_w,
    own_hardware,
    own_light,
    roof_checks,
    room_checks,
    standing,
    string_checks,
    yearly_harvest,
)
from solarcalc.stages.electrical import Electrical
from solarcalc.stages.files import file_checks
from solarcalc.stages.kept import Kept, differing, inherited, stage, unnoted, watched
from solarcalc.stages.orientation import OrientationChoice, orientation_of
from solarcalc.stages.owned import owned_checks
from solarcalc.stages.progress import electrode_checks
from solarcalc.stages.snow import snow_checks
from solarcalc.stages.structure import structure_checks, structure_of
from solarcalc.stages.surveyed import survey_checks
from solarcalc.stages.worksheet import FilledSheet
from solarcalc.structure.plan import StructurePlan
from solarcalc.supply.energy import YearEnergy, year_energy
from solarcalc.supply.run import SupplyRun
from solarcalc.weather.read import read_weather
from solarcalc.weather.records import WeatherYear
from solarcalc.wiring.flows import Flows
from solarcalc.wiring.runs import SizedRun
from solarcalc.wiring.system import Load, loads_of

T = TypeVar("T")
Changes = Mapping[str, Mapping[str, Any]]
"""Table of the site file to key to value; tables in tables as the file has them."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Design:
    """A site with everything that follows from its file.

    Parameters
    ----------
    sitefile : SiteFile
        With the folder that other files are looked for from.
    kept : dict
        Stages worked out so far.
    earlier : dict
        Stages of the design that it was changed from which may have changed; each until it is
        asked for.
    differ : frozenset of str
        Tables in which it differs from that design.
    whole : Design or None
        Of a roof plane, the design of the whole site, which has weather, sun and loads.
    number : int
        Of the roof plane, counted from 1; 0 for the whole.

    Raises
    ------
    InputError
        By each stage for what it cannot do, naming the keys of the site file.
    NoAnswer
        By each stage that has no answer though the file is sound; `solarcalc.basis.no_answer`.
    """

    sitefile: SiteFile
    kept: dict[str, Kept] = field(default_factory=dict, repr=False)
    earlier: dict[str, Kept] = field(default_factory=dict, repr=False)
    differ: frozenset[str] = field(default=frozenset(), repr=False)
    whole: Design | None = field(default=None, repr=False)
    number: int = 0
    _planes: list[Design] = field(default_factory=list, repr=False)
    answers: dict[Callable[..., Any], Any] = field(
        default_factory=dict, init=False, repr=False)  # fmt: skip

    @property
    def site(self) -> Site:
        """The validated record of the site file."""
        return self.sitefile.site

    @property
    def planes(self) -> tuple[Design, ...]:
        """The roof planes, each as a design that has it alone; itself where the site has one.

        What lies on a roof is asked of them: rows, light, fit, shade, wind. They share the weather,
        the sun and the loads of the whole. Every site has one at least.
        """
        if self.plane_count == 1:
            return (self,)
        if not self._planes:
            with unnoted():
                files = plane_files(self.sitefile)
            self._planes.extend(Design(sitefile=watched(one), whole=self, number=number)
                                for number, one in enumerate(files, start=1))
        return tuple(self._planes)

    def on_plane(self, name: str | None) -> Design:
        """The design of the roof plane of that name, whatever its case; of the first for None.

        Raises
        ------
        InputError
            Where the site has none of that name.
        """
        known = {one.plane: one for one in self.planes}
        if not name:
            return self.planes[0]
        for own, one in known.items():
            if own and plane_slug(own) == plane_slug(str(name)):  # a number, say
                return one
        names = ", ".join(filter(None, known))
        near = nearest(str(name), list(filter(None, known)))
        raise InputError(Fault(
            where=f"{self.sitefile.path.name}: planes", given=str(name),
            allowed=f"one of {names}" if names else "none: the site file has no [[planes]]",
            remedy=f"did you mean {near}?" if near else "",
        ))  # fmt: skip

    def numbered(self, number: int) -> Design:
        """The design of the roof plane of that number of this site; of the whole for 0."""
        if number == self.number:
            return self
        whole = self.whole or self
        return whole.planes[number - 1] if number else whole

    @property
    def plane(self) -> str:
        """Name of the roof plane that it is the design of; empty for a site of one plane."""
        return "" if self.whole is None else self.site.roof.name

    def changed(self, changes: Changes) -> Design:
        """The same site with values changed, and every stage that the change cannot touch.

        Parameters
        ----------
        changes : mapping of table to mapping of key to value
            ``{"array": {"tilt_deg": 5.0}}``; a value of None leaves the file's own.

        Raises
        ------
        InputError
            With every fault, as if the values stood in the file.
        """
        return self._at(with_changes(self.sitefile, changes))

    def variant(self, name: str) -> Design:
        """One of the site's variants: this design with the tables that differ.

        Raises
        ------
        InputError
            Where there is none of that name; with every fault of one that cannot be built.
        """
        return self._at(as_variant(self.sitefile, name))

    def _at(self, changed: SiteFile) -> Design:
        """The design of a changed site file, with every stage that stands."""
        made = self._after(watched(changed), self.whole)
        files = plane_files(made.sitefile) if self._planes and made.site.planes else ()
        for number, file in enumerate(files, start=1):
            before = self._planes[number - 1] if number <= len(self._planes) else Design(
                sitefile=file, number=number)  # fmt: skip
            made._planes.append(before._after(watched(file), made))
        return made

    def _after(self, sitefile: SiteFile, whole: Design | None) -> Design:
        """This design for a changed site file: what no table that differs touches is kept."""
        differ = differing(self.site, sitefile.site)
        kept = {name: one.at(sitefile.site) for name, one in self.kept.items()
                if one.tables.isdisjoint(differ)}  # fmt: skip
        earlier = {name: one for name, one in self.kept.items() if name not in kept}
        return Design(sitefile=sitefile, kept=kept, earlier=earlier, differ=differ, whole=whole,
                      number=self.number)  # fmt: skip

    @stage
    def plane_count(self) -> int:
        """Roof planes; all but their number is asked of them."""
        return 1 + len(self.site.planes)

    @stage
    def weather(self) -> WeatherYear:
        """The typical year, checked."""
        return read_weather(self.sitefile) if self.whole is None else self.whole.weather

    @stage
    def sun(self) -> pd.DataFrame:
        """Sun angles of the middle of each hour [deg], shape (8760,)."""
        return sun_over(self.site, self.weather) if self.whole is None else self.whole.sun

    @stage
    def loads(self) -> pd.DataFrame:
        """What each board asks for in each hour [W], one column a board."""
        return boards.loads_of(self) if self.whole is None else self.whole.loads

    @stage
    def array(self) -> Standing:
        """Rows, pitch and place of the modules on the roof; of the first plane."""
        return standing(self)

    @stage
    def hardware(self) -> Hardware:
        """Rails, clamps and feet of its modules; of the first plane."""
        first = self.planes[0]
        return own_hardware(self) if first is self else first.hardware

    @stage
    def light(self) -> tuple[RowLight, ...]:
        """Light on each kind of row of the first plane, with shade, soiling and glass."""
        first = self.planes[0]
        return own_light(self) if first is self else first.light

    @stage
    def energy(self) -> Harvest:
        """A year of all planes together, with every loss in order."""
        if self.planes == (self,):
            return yearly_harvest(self, self.light)
        return harvest_of_planes([one.energy for one in self.planes])

    @stage
    def orientation(self) -> OrientationChoice:
        """Portrait or landscape for the modules on order, what decides and where it turns.

        Of the first plane.
        """
        first = self.planes[0]
        return orientation_of(self) if first is self else first.orientation

    @stage
    def supply(self) -> SupplyRun:
        """The year of battery, boards, grid and generator, hour by hour."""
        return boards.supply_of_sun(self, self.energy.hours["bus_w"])

    @stage
    def weak_supply(self) -> SupplyRun | None:
        """The year of modules as weak in low light as is usual; None where their sheet says it."""
        of_planes = [least_bus_w(one, one.light) for one in self.planes]
        known = [bus_w for bus_w in of_planes if bus_w is not None]
        return boards.supply_of_sun(self, sum(known[1:], known[0])) if known else None

    @stage
    def year_energy(self) -> YearEnergy:
        """The energies that every paper tells in the same words."""
        return year_energy(self.supply, self.weak_supply, fed_in_year(self.site, self.supply))

    @stage
    def room_year(self) -> RoomYear:
        """Heat of the power room and its batteries, hour by hour: the one series of both."""
        return grounds.room_year_of(self, self.energy, self.supply)

    @stage
    def flows(self) -> Flows:
        """Currents and temperatures that cables and devices meet through the year."""
        return electrical.flows_of(
            self, [one.energy for one in self.planes], self.supply, self.room_year.temp_c,
            self.controllers_frac)  # fmt: skip

    @stage
    def controllers_frac(self) -> tuple[float, ...]:
        """Efficiency of the charge controllers, by roof plane."""
        return tuple(one.controller.efficiency_frac for one in self.site.sites)

    @stage
    def run_loads(self) -> dict[str, Load]:
        """What each run of cable carries through the year, by its key."""
        return loads_of(self.site, self.flows)

    @stage
    def electrical(self) -> Electrical:
        """Strings, cables, ducts and protection."""
        return electrical.electrical_of(self.site, self.flows, self.run_loads)

    @stage
    def earthed(self) -> Conductors:
        """What the earthing follows from of cables and devices."""
        return grounds.earthed_of(self.site, self.electrical)

    @stage
    def earth(self) -> EarthingPlan:
        """Electrode, earth bar, bonding and lightning."""
        return earthing_plan(self.site, self.earthed)

    @stage
    def entries(self) -> tuple[Entry, ...]:
        """Cables that come into the power room; however long they are, they enter there."""
        return tuple(entries_of(self.site))

    @stage
    def layout(self) -> RoomLayout:
        """Everything of the power room in its place."""
        return layout_of(self.site, self.entries)

    @stage
    def room(self) -> RoomPlan:
        """Air, heat, floor and layout of the power room."""
        return grounds.room_of(self, self.room_year, self.layout)

    @stage
    def structure(self) -> StructurePlan | None:
        """Feet and ballast against the wind; None where it is not assessed; of the first plane."""
        first = self.planes[0]
        return structure_of(self) if first is self else first.structure

    @stage
    def protection(self) -> ProtectionPlan:
        """Devices, by most changes of a cable the same."""
        return self.electrical.plan

    @stage
    def cold_strings_v(self) -> tuple[float, ...]:
        """Open circuit of a string at the record low, by roof plane [V]."""
        return tuple(one.cold_string_v for one in self.electrical.planes)

    def _chosen(self, sized: tuple[SizedRun, ...] = ()) -> Chosen:
        return Chosen(
            site=self.site, sized=sized, plan=self.protection, earth=self.earth, layout=self.layout,
            planes=tuple(
                PlaneBuilt(site=one.site, hardware=one.hardware, structure=one.structure,
                           cold_string_v=cold_v)
                for one, cold_v in zip(self.planes, self.cold_strings_v, strict=True)
            ),
        )  # fmt: skip

    @stage
    def parts(self) -> tuple[Part, ...]:
        """Everything that is built but for conductors and routes."""
        return parts_of(self._chosen())

    @stage
    def installation(self) -> Installation:
        """All that is built: parts, conductors and routes, of which every paper is read off."""
        return installation_of(self._chosen(self.electrical.sized), self.parts)

    @stage
    def test_facts(self) -> TestFacts:
        """What its test sheet has to know of the site."""
        return grounds.test_facts(self.installation)

    @stage
    def test_lines(self) -> tuple[TestLine, ...]:
        """Every test of the site in its order."""
        return sheet_of(self.test_facts)

    @stage
    def work(self) -> dict[str, float]:
        """How much work of each unit all is that is built."""
        return money.work_of(self.installation, self.test_lines)

    @stage
    def programme(self) -> Schedule:
        """Who does what on which day."""
        return money.schedule_of(self, self.work)

    @stage
    def bill(self) -> tuple[BillLine, ...]:
        """The bill of materials."""
        return money.bill_of_site(self.installation)

    @stage
    def prices(self) -> PriceList:
        """The firm's price list."""
        return money.prices_of(self)

    @stage
    def offer(self) -> Offer:
        """The bill and the hours of the programme, priced."""
        return money.offer_of(self, self.bill, self.prices, self.programme)

    @stage
    def bills(self) -> EnergyBills:
        """What energy costs in a year without the system and with it, by the tariff."""
        return energy_bills(self.site, self.supply)

    @stage
    def economics(self) -> Economics:
        """What the offer costs and saves over the life of the system."""
        return money.economics_of_site(
            self, self.offer, self.energy, self.supply, self.life, self.bills)

    @stage
    def life(self) -> dict[str, battery_life.BankLife]:
        """Expected service life of each battery, and what its room's heat takes of it."""
        return battery_life.lives_of(self, self.supply, self.room_year.battery_c)

    @stage
    def worksheet(self) -> FilledSheet:
        """The sizing worksheet, filled in."""
        return worksheet.sheet_of(self, self.energy, self.room_year.battery_c)

    @stage
    def roof_checks(self) -> tuple[Check, ...]:
        """Checks of the array on its roof, plane by plane."""
        if self.planes != (self,):
            return tuple(check for one in self.planes
                         for check in on_plane(one.roof_checks, one.plane))  # fmt: skip
        return (*roof_checks(self), *checks_or_why(lambda: room_checks(self)),
                *structure_checks(self, self.structure))

    @stage
    def energy_checks(self) -> tuple[Check, ...]:
        """Checks of the weather year, of the strings through it, and of what was surveyed."""
        return (*survey_checks(self), *self.weather.checks,
                *(check for one in self.planes for check in on_plane((
                    *snow_checks(one, one.energy.snow_frac), *string_checks(one, one.energy),
                ), one.plane)))  # fmt: skip

    @stage
    def supply_checks(self) -> tuple[Check, ...]:
        """Checks of boards and battery through the year, and of the sizing worksheet."""
        return (*boards.board_checks(self, self.supply),
                *boards.weak_light_checks(self.supply, self.weak_supply),
                *battery_life.life_checks(self, self.supply, self.life),
                *checks_or_why(lambda: boards.autonomy_checks(self)),
                *checks_or_why(lambda: worksheet.book_checks(self.site, self.worksheet)),
                *checks_or_why(lambda: self._owned_checks))

    @property
    def _owned_checks(self) -> tuple[Check, ...]:
        """Checks of what is used again."""
        if not any(one.used for one in self.site.existing):
            return ()
        place = battery_life.place_of(self, self.energy)
        return tuple(owned_checks(self.site, self.bill, place))

    @stage
    def electrical_checks(self) -> tuple[Check, ...]:
        """Checks of strings, cables, ducts and protection."""
        return (*self.wiring_checks, *route_checks(self.installation),
                *lead_checks(self.installation))

    @stage
    def wiring_checks(self) -> tuple[Check, ...]:
        """Those of them that follow from no way and no part of the installation."""
        return tuple(electrical.electrical_checks(self.electrical))

    @stage
    def ground_checks(self) -> tuple[Check, ...]:
        """Checks of earthing and power room."""
        return tuple(grounds.grounds_checks(self.site, self.earth, self.room))

    @stage
    def money_checks(self) -> tuple[Check, ...]:
        """Checks of offer, programme and its files; without an offer the others still stand."""
        money = or_why(lambda: self.economics)()
        day = quote_day(self.site.status)
        return (*checks_or_why(lambda: quote_checks(self.offer, money)),
                *checks_or_why(lambda: price_checks(self.offer, self.prices, day)),
                *programme_checks(self.programme), *file_checks(self),
                *electrode_checks(self))  # fmt: skip

    @property
    def checks(self) -> dict[str, tuple[Check, ...]]:
        """Every check of the design once, by its workbook; accepted ones say by whom."""
        found = {"orientation": self.roof_checks, "yield": self.energy_checks,
                 "battery": self.supply_checks, "electrical": self.electrical_checks,
                 "earthing": self.ground_checks, "quote": self.money_checks}
        accepted, machines = self.site.status.accepted, status.machines_of(self.site)
        return {chapter: status.once(status.settled(checks, accepted, machines))
                for chapter, checks in found.items()}

    @property
    def all_checks(self) -> tuple[Check, ...]:
        """Every check, the worst first."""
        return worst_first(check for checks in self.checks.values() for check in checks)

    @property
    def failed(self) -> tuple[Check, ...]:
        """The checks that failed."""
        return tuple(check for check in self.all_checks if check.outcome == "failed")

    @property
    def fingerprint(self) -> str:
        """Eight signs of what is found and built: another design gives another."""
        return status.fingerprint_of(self.all_checks, self.bill, self.electrical.sized)

    @property
    def drawn(self) -> Design:
        """The design as drawings show it: checked by a person only as long as that may be said.

        Not where a check of safety fails, not where the design is another than was checked, and
        never where equipment is invented: nothing is built by such drawings.
        """
        by = self.site.checked
        if not by.done or self.whole is not None:
            return self
        unsafe = any(check.kind == "safety" for check in self.failed)
        if by.fingerprint == self.fingerprint and not unsafe and not self.sitefile.examples:
            return self
        return self.changed({"checked": dict.fromkeys(type(by).model_fields, "")})

    @property
    def blocking(self) -> tuple[Check, ...]:
        """The failed checks that keep the design from being offered."""
        return status.blocking(self.all_checks)

    @property
    def lapsed(self) -> tuple[tuple[Check, str], ...]:
        """Checks that were accepted with other values, each with what is said of it."""
        return status.lapsed(self.all_checks, self.site.status.accepted)

    @property
    def unmet(self) -> tuple[str, ...]:
        """Acceptances of the site file that no check of the design asks for."""
        return status.unmet(self.all_checks, self.site.status.accepted)

    @property
    def example_of(self) -> tuple[str, ...]:
        """What is invented here and stamps the papers as an example: equipment, prices."""
        equipment = ("equipment",) if self.sitefile.examples else ()
        offer = or_why(lambda: self.offer)()  # without one: what its list says of itself
        invented = (self.prices if isinstance(offer, NoAnswer) else offer).invented
        return (*equipment, "prices") if invented else equipment


def open_design(site_file: str | Path | SiteFile, changes: Changes | None = None) -> Design:
    """Open a site file; nothing is worked out until it is asked for.

    Parameters
    ----------
    site_file : str, Path or SiteFile
        Path of a site file, or the name of a demo site, and after a colon the name of one of its
        variants; or a site file that is read already.
    changes : mapping of table to mapping of key to value, optional
        Values to use in place of the file's; None values leave the file's own.

    Raises
    ------
    InputError
        With every fault of the site file or of the changes.
    """
    if isinstance(site_file, SiteFile):
        sitefile = site_file
    elif design := inherited(str(site_file), Design):
        return design if changes is None else design.changed(changes)
    else:
        path, variant = site_and_variant(str(site_file))
        sitefile = read_site(path)
        if variant:
            sitefile = as_variant(sitefile, variant)
    if changes is not None:
        sitefile = with_changes(sitefile, changes)
    return Design(sitefile=watched(sitefile))
