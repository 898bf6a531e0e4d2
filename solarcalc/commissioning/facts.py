"""What a test sheet needs to know about a site, as plain records."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from solarcalc.basis.sourced import constant
from solarcalc.earthing.bar import to_modules_m
from solarcalc.earthing.checks import asked_ohm
from solarcalc.protection.neutral import delayed_at, ties, upstream_ma
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.battery import Battery
from solarcalc.sitefile.loads import BOARDS
from solarcalc.sitefile.programme import Commissioning
from solarcalc.sitefile.site import Site
from solarcalc.wiring.runs import LINES, between_v, states_of, strings_by_controller
from solarcalc.wiring.switching import board_states


@dataclass(frozen=True, kw_only=True)
class StringFacts:
    """One string of modules.

    Parameters
    ----------
    name : str
        As its label says.
    modules : int
        In series.
    controller : int
        Which controller it ends at, from 1.
    plane : str
        Name of its roof plane; empty where the site has one.
    """

    name: str
    modules: int
    controller: int
    plane: str = ""


@dataclass(frozen=True, kw_only=True)
class BankFacts:
    """One bank.

    Parameters
    ----------
    name : str
    battery : Battery
        Record of the site file; its units in parallel are those of this bank.
    """

    name: str
    battery: Battery


@dataclass(frozen=True, kw_only=True)
class BoardFacts:
    """One board behind its inverter.

    Parameters
    ----------
    name : str
    voltage_v : float
        Line to neutral [V].
    residual_ma : float
        Rated current of its residual current device [mA].
    waits : bool
        Whether it is shed when the battery is low.
    phases : int
        1, 2 or 3.
    between_v : float
        Between two lines; 0 where there is one [V].
    """

    name: str
    voltage_v: float
    residual_ma: float
    waits: bool
    phases: int = 1
    between_v: float = 0.0

    @property
    def line_names(self) -> tuple[str, ...]:
        """Of its lines, as the diagrams have them."""
        return LINES[self.phases]


@dataclass(frozen=True, kw_only=True)
class Bond:
    """One protective or bonding conductor of copper.

    Parameters
    ----------
    name : str
        What is earthed by it.
    start, end : str
    size_mm2 : float
        [mm2]
    length_m : float
        [m]
    """

    name: str
    start: str
    end: str
    size_mm2: float
    length_m: float


@dataclass(frozen=True, kw_only=True)
class TestFacts:
    """A site as its test sheet sees it.

    Parameters
    ----------
    module : Module
    strings : tuple of StringFacts
    controller_count : int
    banks : tuple of BankFacts
    boards : tuple of BoardFacts
    bonds : tuple of Bond
    electrode_limit_ohm : float
        [ohm]
    neutral_earth_bond, changeover : str
        As the site file says.
    joined : mapping of str to str
        Where neutral and earth are joined, by what feeds the boards.
    grid, generator, smoke_alarm : bool
        Whether there is one.
    residual : bool
        Whether each board has a residual current device.
    delayed_at : tuple of str
        Sources with a delayed residual current device.
    delayed_ma : float
        Its rated residual current [mA].
    rules : Commissioning
        Table [commissioning] of the site file.
    electrode_assumed_ohm : float or None
        Of the electrode in the worst season, as designed [ohm]; None where nobody says.
    short_delay : bool
        Whether the residual current devices of the boards have a short delay.
    """

    __test__ = False  # not a test class, whatever its name

    module: Module
    strings: tuple[StringFacts, ...]
    controller_count: int
    banks: tuple[BankFacts, ...]
    boards: tuple[BoardFacts, ...]
    bonds: tuple[Bond, ...]
    electrode_limit_ohm: float
    neutral_earth_bond: Literal["at-inverter", "at-changeover", "at-grid", "nowhere"]
    changeover: Literal["none", "manual", "automatic", "built-in"]
    joined: Mapping[str, str]
    grid: bool
    generator: bool
    smoke_alarm: bool
    residual: bool
    delayed_at: tuple[str, ...]
    delayed_ma: float
    rules: Commissioning
    electrode_assumed_ohm: float | None = None
    short_delay: bool = False


USUAL_BOND_MM2 = float(constant("commissioning.usual_bond_mm2"))


def facts_of(
    site: Site, *, bonds: Sequence[Bond] = ()
) -> TestFacts:
    """Facts of a site file; what other stages know better may be given.

    Parameters
    ----------
    site : Site
    bonds : sequence of Bond
        From the schedule of the earth bar; left out: modules, cases and electrode by [earthing].
    """
    protection, delayed_ma = site.protection, upstream_ma(site)
    return TestFacts(
        module=site.module,
        strings=_strings(site),
        controller_count=site.controller_count,
        banks=_banks(site),
        boards=tuple(
            BoardFacts(name=name, voltage_v=site.supply.ac_voltage_v, waits=name == "nonessential",
                       residual_ma=protection.residual_ma, phases=phases,
                       between_v=between_v(site, phases) if phases > 1 else 0.0)
            for name in BOARDS for phases in (site.loads.phases_of(name),)
        ),
        bonds=tuple(bonds) or _usual_bonds(site),
        electrode_limit_ohm=asked_ohm(site),
        neutral_earth_bond=protection.neutral_earth_bond,
        changeover=protection.changeover,
        joined=_joined(site),
        grid="grid" in site.sources,
        generator="generator" in site.sources,
        smoke_alarm=site.room.smoke_alarm,
        residual=site.protection.system != "IT",
        delayed_at=delayed_at(site) if delayed_ma is not None else (),
        delayed_ma=delayed_ma or 0.0,
        rules=site.commissioning,
    )  # fmt: skip


def _joined(site: Site) -> dict[str, str]:
    """Places of the join by what feeds the boards."""
    return {
        state: "; ".join(dict.fromkeys(
            tie for at in board_states(site) if state in at.states for tie in ties(site, at)))
        or "nowhere"
        for state in states_of(site)
    }  # fmt: skip


def _strings(site: Site) -> tuple[StringFacts, ...]:
    """Strings in order, spread over the controllers of their roof plane as evenly as they go."""
    found: list[StringFacts] = []
    before = 0
    for one in site.sites:
        for end, share in enumerate(strings_by_controller(one), start=before + 1):
            found += [StringFacts(name=f"string {len(found) + number}", controller=end,
                                  modules=one.array.modules_in_series, plane=one.roof.name)
                      for number in range(1, share + 1)]  # fmt: skip
        before += one.controller.count
    return tuple(found)


def _banks(site: Site) -> tuple[BankFacts, ...]:
    return tuple(
        BankFacts(name="bank" if name == "shared" else f"{name} bank", battery=battery)
        for name, battery in site.banks.items() if battery.units_in_parallel
    )  # fmt: skip


def _usual_bonds(site: Site) -> tuple[Bond, ...]:
    bar = "main earthing terminal (earth bar)"
    near_m = site.earthing.bar_to_electrode_m
    return (
        Bond(name="module frames and rails", start="last frame of each row", end=bar,
             size_mm2=USUAL_BOND_MM2, length_m=to_modules_m(site)),
        Bond(name="inverter and controller enclosures", start="each enclosure", end=bar,
             size_mm2=USUAL_BOND_MM2, length_m=near_m),
        Bond(name="earthing conductor", start=bar, end="earth electrode, test link closed",
             size_mm2=USUAL_BOND_MM2, length_m=near_m),
    )  # fmt: skip
