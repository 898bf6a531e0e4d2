"""What the bill of materials is counted from: one plain record of the whole design."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from solarcalc.basis.sourced import constant
from solarcalc.powerroom.civil import CivilWorks
from solarcalc.protection.case import Device
from solarcalc.roof.hardware import Hardware
from solarcalc.sitefile.site import Site
from solarcalc.wiring.runs import SizedRun

EquipmentKey = Literal["module", "controller", "inverter", "battery", "generator"]
LUGS_FROM_MM2 = float(constant("quote.lugs_from_mm2"))


@dataclass(frozen=True, kw_only=True)
class Equipment:
    """One kind of equipment.

    Parameters
    ----------
    key : {"module", "controller", "inverter", "battery", "generator"}
    label : str
        As the site file names it.
    count : int
    size : float
        Of one, in `size_unit`: what a price may be asked by.
    size_unit : str
        ``"W"``, ``"A"`` or ``"kWh"``.
    """

    key: EquipmentKey
    label: str
    count: int
    size: float
    size_unit: str


@dataclass(frozen=True, kw_only=True)
class CableLine:
    """One size of cable on one run.

    Parameters
    ----------
    name : str
        Of the run, in words.
    size_name : str
        ``"16 mm²"`` or ``"AWG 4"``.
    size_mm2 : float
        Of one conductor [mm2].
    material : {"copper", "aluminium"}
    core_m : float
        Single core of all conductors together, before waste [m].
    lug_count : int
        Pressed on its ends.
    """

    name: str
    size_name: str
    size_mm2: float
    material: Literal["copper", "aluminium"]
    core_m: float
    lug_count: int = 0


@dataclass(frozen=True, kw_only=True)
class DeviceLine:
    """One kind of switch, fuse or protective device.

    Parameters
    ----------
    kind : str
        ``"fuse"``, ``"breaker"``, ``"isolator"``, ``"surge"``, ``"residual"``, ``"changeover"``.
    name : str
    current : {"dc", "ac"}
    count, poles : int
    rated_a : float or None
        Rated current [A]; None for a surge device.
    """

    kind: str
    name: str
    current: Literal["dc", "ac"]
    count: int
    poles: int
    rated_a: float | None


@dataclass(frozen=True, kw_only=True)
class Counted:
    """Everything that is counted for a quote.

    Parameters
    ----------
    array_kwp : float
        For the price a kWp [kWp].
    equipment : tuple of Equipment
    hardware : Hardware or None
        Rails, clamps and feet; None where the modules need none.
    rail_stock_m : float
        Length that rails are bought in [m].
    battery_link_count, string_connector_pairs : int
        Links between units; pairs of connectors at the ends of strings.
    cables : tuple of CableLine
    pipe_m, pipe_mm : float
        Length [m] and diameter [mm] of pipe.
    trench_m : float
        To dig for it [m].
    devices : tuple of DeviceLine
    rod_count : int
    rod_length_m : float
        [m].
    earth_m, earth_mm2 : float
        Bare or green-and-yellow conductor to bar, modules and electrode [m], its size [mm2].
    civil : CivilWorks or None
        None where the power room stands already.
    label_count : int
        Warning labels and plates.
    """

    array_kwp: float
    equipment: tuple[Equipment, ...]
    hardware: Hardware | None = None
    rail_stock_m: float = 4.2
    battery_link_count: int = 0
    string_connector_pairs: int = 0
    cables: tuple[CableLine, ...] = field(default=())
    pipe_m: float = 0.0
    pipe_mm: float = 32.0
    trench_m: float = 0.0
    devices: tuple[DeviceLine, ...] = field(default=())
    rod_count: int = 0
    rod_length_m: float = 2.4
    earth_m: float = 0.0
    earth_mm2: float = 16.0
    civil: CivilWorks | None = None
    label_count: int = 0


def equipment_of(site: Site) -> tuple[Equipment, ...]:
    """Modules, controllers, inverters, battery units and generator of a site file.

    With one inverter for both boards only the critical one is counted: it serves both. What the
    customer owns already is not taken off.

    Parameters
    ----------
    site : Site
    """
    module, battery, control = site.module, site.battery, site.controller
    found = [
        Equipment(key="module", label=module.label, count=site.array.module_count,
                  size=module.pmax_w, size_unit="W"),
        Equipment(key="controller", label=control.label, count=control.count,
                  size=control.max_charge_current_a, size_unit="A"),
        *(Equipment(key="inverter", label=one.label, count=1, size=one.continuous_power_w,
                    size_unit="W") for one in site.inverters.values()),
        Equipment(key="battery", label=battery.label, count=battery.unit_count,
                  size=battery.unit_wh / 1000.0, size_unit="kWh"),
    ]  # fmt: skip
    if site.generator.there:
        found.append(Equipment(key="generator", label="Generator that starts by itself", count=1,
                               size=site.generator.power_w, size_unit="W"))  # fmt: skip
    return tuple(found)


def cable_line(sized: SizedRun, *, earth_core: bool) -> CableLine:
    """A sized run as cable to buy: single cores, one way times conductors times runs alike.

    Three loaded conductors have a neutral besides; the earth conductor is counted at the size of
    the others. From 6 mm2 on each end has a lug.

    Parameters
    ----------
    sized : SizedRun
    earth_core : bool
        Whether an earth conductor runs in it.
    """
    run = sized.run
    cores = (run.loaded + (1 if run.loaded == 3 else 0)) * sized.in_parallel + int(earth_core)
    lugs = 2 * cores * run.count if sized.size_mm2 >= LUGS_FROM_MM2 else 0
    return CableLine(
        name=run.name, size_name=sized.size_name, size_mm2=sized.size_mm2,
        material=run.material, core_m=run.length_m * cores * run.count, lug_count=lugs,
    )  # fmt: skip


def device_line(device: Device) -> DeviceLine:
    """A line of the protection schedule as a device to buy."""
    return DeviceLine(kind=device.kind, name=device.name, current=device.current,
                      count=device.count, poles=device.poles, rated_a=device.rated_a)
