"""The graph of what is built: parts, conductors, routes; and what it is built from.

Every paper is read off it: drawings, schedules, bill, labels, tests, tasks, switching order.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from solarcalc.basis.sourced import FROM_MEMORY
from solarcalc.basis.text import safe_file_name
from solarcalc.earthing.plan import EarthingPlan
from solarcalc.powerroom.layout import RoomLayout
from solarcalc.protection.case import Device
from solarcalc.protection.plan import ProtectionPlan
from solarcalc.roof.hardware import Hardware
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.battery import Battery
from solarcalc.sitefile.roof import Rails
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.supply import Controller, Inverter
from solarcalc.sitefile.wiring import CableMethod, Method, cable_methods
from solarcalc.structure.plan import StructurePlan
from solarcalc.wiring.ducts import DuctFill, DuctSize
from solarcalc.wiring.runs import Function, SizedRun, State, plane_number

Drawing = Literal["single-line", "earthing", "room"]
RELAY = "inside the inverter: relay, closed only while it alone supplies"
"""Why such a join of neutral and earth is not bought."""
Place = Literal["roof", "power room", "outside the room", "house", "ground", "grid", "generator"]


@dataclass(frozen=True, kw_only=True)
class Bought:
    """What a part is bought as.

    Parameters
    ----------
    item : str
        Key of the price list, for all of the kind.
    very : str
        The very thing after it, where it may have a price of its own.
    words : str
        The very thing in words.
    size : float
        Of one, in the second unit of the item.
    alike : str
        After the item, what several very things have in common that may have one price.
    """

    item: str
    very: str = ""
    words: str = ""
    size: float = 1.0
    alike: str = ""


def module_bought(module: Module) -> Bought:
    """A module as it is bought: by its label, or by its watts."""
    return Bought(item="module", very=safe_file_name(module.label), words=module.label,
                  size=module.pmax_w)  # fmt: skip


def rail_bought(rails: Rails) -> Bought:
    """A rail as it is bought: by its stock length."""
    stock_m = rails.stock_length_m
    return Bought(item="rail", very=f"{stock_m:g}m", words=f"{stock_m:g} m", size=stock_m)


def inverter_bought(inverter: Inverter) -> Bought:
    """An inverter as it is bought: by its label, or by its watts."""
    return Bought(item="inverter", very=safe_file_name(inverter.label), words=inverter.label,
                  size=inverter.continuous_power_w)  # fmt: skip


def controller_bought(controller: Controller) -> Bought:
    """A charge controller as it is bought: by its label, or by its amperes."""
    return Bought(item="controller", very=safe_file_name(controller.label),
                  words=controller.label, size=controller.max_charge_current_a)  # fmt: skip


def battery_bought(battery: Battery) -> Bought:
    """A battery unit as it is bought: by its label, or by its kilowatt hours."""
    return Bought(item="battery", very=safe_file_name(battery.label), words=battery.label,
                  size=battery.unit_wh / 1000.0)  # fmt: skip


def with_tags(words: str, tags: Mapping[str, str]) -> str:
    """Words in which keys of parts, in braces, are replaced by their tags.

    Examples
    --------
    >>> with_tags("draw only with {battery-isolator} open", {"battery-isolator": "Q4"})
    'draw only with Q4 open'
    """
    for key in re.findall(r"\{([a-z0-9@-]+)\}", words):
        words = words.replace(f"{{{key}}}", tags[key])
    return words


@dataclass(frozen=True, kw_only=True)
class Label:
    """One line of the label schedule.

    Parameters
    ----------
    label, words, where, rule : str
        Its name, what stands on it, where it goes, and who asks for it.
    count : int
    """

    label: str
    words: str
    where: str
    count: int
    rule: str


@dataclass(frozen=True, kw_only=True)
class Part:
    """One kind of thing in one place.

    Parameters
    ----------
    key : str
        Once in the graph; a device has the key of the protection schedule.
    kind : str
        ``"module"``, ``"inverter"``, ``"busbar"``; of a device its kind.
    name : str
        In words.
    tag : str
        Stands in every paper: ``"Q3"``.
    count : int
    place : str
        Where it stands or hangs; ``where`` says it in words.
    bought : Bought or None
        None with ``why_not`` for what is there already, inside another thing, or another's.
    drawn_on : tuple of str
        Drawings it stands on; ``loose`` material stands on none.
    rated_a : float or None
        [A].
    poles : int
    device : Device or None
        Of the protection schedule.
    board : str
        Whose it is; empty where it serves all.
    states : tuple of str
        Of a bond: in which states of the changeover it is in effect.
    work : str
        Unit of work that fitting one of it is counted in, of ``data/task_hours.csv``.
    tests : tuple of str
        Keys of the lines of the test sheet that test it.
    labels : tuple of Label
    earthed : bool
        Has a case or frame that an earth conductor is joined to.
    mass_kg : float
        Of all of them together, of things that load the roof [kg]; 0 for others.
    """

    key: str
    kind: str
    name: str
    count: int
    place: Place
    where: str = ""
    tag: str = ""
    bought: Bought | None = None
    why_not: str = ""
    drawn_on: tuple[Drawing, ...] = ()
    loose: bool = False
    rated_a: float | None = None
    poles: int = 0
    device: Device | None = None
    board: str = ""
    states: tuple[State, ...] = ()
    work: str = ""
    tests: tuple[str, ...] = ()
    labels: tuple[Label, ...] = ()
    earthed: bool = False
    mass_kg: float = 0.0

    @property
    def inside(self) -> bool:
        """Whether it is a changeover that is the relay of its inverter: without a handle."""
        return self.kind == "changeover" and self.bought is None

    @property
    def sides(self) -> int:
        """Of each circuit how many of it there are: two where each pole has one of its own."""
        return 2 if self.device is not None and self.device.pole_by_pole else 1

    def tag_at(self, sign: str, circuit: int = 1) -> str:
        """Tag of the one in a pole of a circuit; empty where it has none in the negative.

        Parameters
        ----------
        sign : str
            ``"+"`` or ``"−"``.
        circuit : int
            From 1.
        """
        if sign == "−" and self.poles * self.sides < 2:
            return ""
        number = (circuit - 1) * self.sides + (self.sides if sign == "−" else 1)
        return f"{self.tag}.{number}" if self.count > 1 else self.tag

    @property
    def symbol(self) -> str:
        """What it is drawn as: its kind, or a fuse in a switch that isolates it."""
        switched = self.device is not None and self.device.in_switch
        return "fuse-switch" if switched else self.kind


@dataclass(frozen=True, kw_only=True, eq=False)
class Conductor:
    """Circuits alike from one part to another, with every core they have.

    Parameters
    ----------
    key, name, tag : str
    start, end : str
        Keys of the parts at its ends.
    start_words, end_words : str
    current : {"dc", "ac", "earth", "surge"}
    functions : tuple of str
        Of the cores of one circuit with one conductor a pole, the protective one too.
    count : int
        Circuits alike.
    in_parallel : int
        Conductors for each pole; the protective one is there once.
    size_mm2 : float
        Of one conductor [mm2].
    size_name : str
    protective_mm2 : float or None
        Of the protective core of a cable [mm2]; None without one, or as the others.
    material : {"copper", "aluminium"}
    insulation : str
    rated_v, highest_v : float
        Of its insulation, and between its conductors at the most [V].
    length_m : float
        One way, of one circuit [m].
    length_given : bool
    device : str
        Key of the part that protects it; empty with ``why_no_device``.
    device_a, capacity_a : float or None
        I_n and I_z [A].
    route : str
        Key of its route; empty for one that carries current in a fault alone and stays in its room.
    grouped : int
        Circuits that its capacity was reckoned with.
    lug_count : int
        On all ends of all its cores and circuits; 0 where it is clamped bare.
    tests, labels
        As of a part.
    sized : SizedRun or None
    trench_m : float
        To dig for it alone: of an electrode [m].
    at_start, at_end : tuple of str
        Keys of the devices that stand in it at these ends, in the order from its start.
    """

    key: str
    name: str
    start: str
    end: str
    start_words: str
    end_words: str
    current: Literal["dc", "ac", "earth", "surge"]
    functions: tuple[Function, ...]
    count: int
    in_parallel: int = 1
    size_mm2: float
    size_name: str
    material: Literal["copper", "aluminium"]
    insulation: str
    rated_v: float
    highest_v: float
    length_m: float
    length_given: bool
    tag: str = ""
    device: str = ""
    device_a: float | None = None
    capacity_a: float | None = None
    why_no_device: str = ""
    route: str = ""
    grouped: int = 1
    lug_count: int = 0
    tests: tuple[str, ...] = ()
    labels: tuple[Label, ...] = ()
    sized: SizedRun | None = None
    protective_mm2: float | None = None
    trench_m: float = 0.0
    at_start: tuple[str, ...] = ()
    at_end: tuple[str, ...] = ()

    @property
    def own_size(self) -> bool:
        """Whether its protective core has a size of its own."""
        return self.protective_mm2 is not None and self.protective_mm2 != self.size_mm2

    @property
    def cores(self) -> int:
        """Cores of one circuit, the protective one once."""
        protective = "PE" in self.functions and len(self.functions) > 1
        return (len(self.functions) - protective) * self.in_parallel + protective

    @property
    def core_m(self) -> float:
        """Single cores of all circuits together [m]."""
        return self.cores * self.count * self.length_m

    @property
    def metres_by_size(self) -> dict[tuple[str, float], float]:
        """Single cores by size name and size [m]: those with current, and a smaller protective."""
        if not self.own_size or self.protective_mm2 is None:
            return {(self.size_name, self.size_mm2): self.core_m}
        alone_m = self.count * self.length_m
        return {
            (self.size_name, self.size_mm2): self.core_m - alone_m,
            (f"{self.protective_mm2:g} mm²", self.protective_mm2): alone_m,
        }  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Route:
    """A way that conductors lie in together.

    Parameters
    ----------
    key, name : str
    method : str
        Of data/cable_methods.csv.
    conductors : tuple of str
        Keys of those in it.
    circuits : int
        That warm one another: each set of conductors of each circuit, and those of others.
    duct : DuctSize or None
        That they are drawn into.
    duct_count : int
        Beside one another.
    duct_m, trench_m : float
        To lay and to dig [m].
    fill : DuctFill or None
        Of one of the ducts.
    depth_m : float
        Cover above what lies in the ground [m].
    apart_m : float
        From other ways in the ground, so that they do not warm it, alternating current apart
        from the array's [m]; 0 for a way that is not in the ground.
    """

    key: str
    name: str
    method: Method
    conductors: tuple[str, ...]
    circuits: int
    duct: DuctSize | None = None
    duct_count: int = 0
    duct_m: float = 0.0
    trench_m: float = 0.0
    fill: DuctFill | None = None
    depth_m: float = 0.0
    apart_m: float = 0.0

    @property
    def lies(self) -> CableMethod:
        """What its method is."""
        return cable_methods()[self.method]


POLES = {
    "none": "no pole earthed", "negative": "its negative (−) remains earthed",
    "positive": "its positive (+) remains earthed",
}  # fmt: skip
"""State of the battery's earthing, for who switches."""


@dataclass(frozen=True, kw_only=True, eq=False)
class PlaneBuilt:
    """What a roof plane carries.

    Parameters
    ----------
    site : Site
        Of the plane, one of `Site.sites`.
    hardware : Hardware or None
        Rails, clamps and feet; None where the modules need none.
    structure : StructurePlan or None
        Feet and ballast against wind; None where it is not assessed.
    cold_string_v : float
        Open circuit of a string at the record low [V].
    """

    site: Site
    hardware: Hardware | None
    structure: StructurePlan | None
    cold_string_v: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Installation:
    """All that is built at a site.

    Parameters
    ----------
    site : Site
    parts : tuple of Part
    conductors : tuple of Conductor
    routes : tuple of Route
    layout : RoomLayout
    planes : tuple of PlaneBuilt
        Of each roof plane.
    """

    site: Site
    parts: tuple[Part, ...]
    conductors: tuple[Conductor, ...]
    routes: tuple[Route, ...]
    layout: RoomLayout
    planes: tuple[PlaneBuilt, ...]

    @property
    def roof_mass_kg(self) -> float:
        """Dead load of array and ballast on the roof [kg]."""
        return sum(part.mass_kg for part in self.parts if part.place == "roof")

    @cached_property
    def by_key(self) -> dict[str, Part]:
        """Parts by their key."""
        return {part.key: part for part in self.parts}

    def of_kind(self, *kinds: str) -> tuple[Part, ...]:
        """Parts of some kinds, in their order."""
        return tuple(part for part in self.parts if part.kind in kinds)

    @property
    def devices(self) -> tuple[Part, ...]:
        """Switches, fuses and protective devices."""
        return tuple(part for part in self.parts if part.device is not None)

    @property
    def cables(self) -> tuple[Conductor, ...]:
        """Conductors that carry current in use."""
        return tuple(each for each in self.conductors if each.current in ("dc", "ac"))

    @property
    def leads(self) -> tuple[Conductor, ...]:
        """Leads from live conductors to surge devices; those to earth are among `earths`."""
        return tuple(each for each in self.conductors if each.current == "surge")

    @property
    def earths(self) -> tuple[Conductor, ...]:
        """Earthing, protective and bonding conductors outside cables."""
        return tuple(each for each in self.conductors if each.current == "earth")

    @property
    def led_out(self) -> tuple[Conductor, ...]:
        """Protective and bonding conductors that leave the room and lie in no trench."""
        dug = {route.key for route in self.routes if route.trench_m > 0.0}
        dug |= {one.route for one in self.earths if one.trench_m > 0.0}
        return tuple(one for one in self.earths if one.route and one.route not in dug)

    @property
    def trench_m(self) -> float:
        """To dig for all routes and for the electrode [m]."""
        return sum(each.trench_m for each in self.routes) + sum(
            each.trench_m for each in self.earths
        )

    @property
    def switching_off(self) -> tuple[tuple[str, tuple[Part, ...]], ...]:
        """What is switched off, step by step: its key and the switches; on again backwards.

        What may start by itself goes before what it feeds. `step_words` says a key in words.
        """
        steps = (
            ("loads", "house-breaker"), ("generator", "generator-breaker"),
            ("grid", "grid-breaker"), ("inverters", "inverter-"), ("array", "array-isolator"),
            ("controllers", "controller-"),
            ("battery", "battery-isolator"), ("fuse", "battery-fuse"),
        )  # fmt: skip
        found = (
            (words, tuple(part for part in self.parts if part.key.startswith(stem)
                          and part.kind in ("breaker", "isolator", "fuse", "inverter")
                          and not part.key.startswith("inverter-fuse")))
            for words, stem in steps
        )  # fmt: skip
        return tuple((words, parts) for words, parts in found if parts)

    @property
    def switched_by_hand(self) -> tuple[tuple[str, tuple[Part, ...]], ...]:
        """The steps of `switching_off` that a customer does: by a handle, never a fuse."""
        found = ((step, tuple(part for part in parts if part.kind != "fuse"))
                 for step, parts in self.switching_off)  # fmt: skip
        return tuple((step, parts) for step, parts in found if parts)

    def step_words(self, step: str) -> str:
        """A step of `switching_off` in words, the state of the battery's poles among them."""
        if step == "battery":
            return f"battery, {POLES[self.site.battery.pole_earthed]}"
        if step == "controllers" and any(key.startswith("controller-fuse") for key in self.by_key):
            return "controllers, by the switch of their fuse"
        return "main fuse, withdrawn with that isolator open" if step == "fuse" else step

    @property
    def labels(self) -> tuple[Label, ...]:
        """Every label, those of parts and conductors, in the order of the current."""
        order = "; ".join(
            f"{number} {self.step_words(step)} {', '.join(part.tag for part in parts)}"
            for number, (step, parts) in enumerate(self.switching_off, start=1)
        )
        off = Label(
            label="Sign 10", words=f"Switching-off sequence: {order}; on again in reverse;"
            f" telephone of the installer", where="in the power room, and at the entrance",
            count=2, rule=f"IEC 60364-7-712.514, {FROM_MEMORY}",
        )  # fmt: skip
        each = (*(one.labels for one in self.conductors), *(part.labels for part in self.parts))
        return (*(label for labels in each for label in labels), off)


@dataclass(frozen=True, kw_only=True, eq=False)
class Chosen:
    """Everything that is chosen before things are counted.

    Parameters
    ----------
    site : Site
    plan : ProtectionPlan
    earth : EarthingPlan
    layout : RoomLayout
    planes : tuple of PlaneBuilt
        Of each roof plane.
    sized : tuple of SizedRun
        Every run with its cable; parts are counted without.
    """

    site: Site
    plan: ProtectionPlan
    earth: EarthingPlan
    layout: RoomLayout
    planes: tuple[PlaneBuilt, ...]
    sized: tuple[SizedRun, ...] = ()

    def plane(self, key: str) -> PlaneBuilt:
        """The roof plane that a run, a part or a device belongs to."""
        return self.planes[plane_number(key) - 1]

    def run(self, key: str) -> SizedRun:
        """The run of that key with its cable."""
        return next(one for one in self.sized if one.run.key == key)

    @property
    def room(self) -> str:
        """Where inverters, controllers and boards hang."""
        return "power room" if self.site.room.inverters_inside else "outside the room"


def device_bought(device: Device) -> Bought:
    """A device as it is bought: unlike rating, poles, voltage, breaking or kind, unlike things.

    What else is asked of it stands in its key by its first words and a sum over all of them.
    """
    rated = "" if device.rated_a is None else f"{device.rated_a:g} A"
    breaks = "" if device.breaking_ka is None else f"{device.breaking_ka:g} kA"
    poles = "1 pole" if device.poles == 1 else f"{device.poles} poles"
    alike = f"{rated}-{device.poles}p".removeprefix("-")
    sort = safe_file_name(re.split("[,;]", device.extra)[0])[:20].strip("-")
    mark = hashlib.sha256(device.extra.encode()).hexdigest()[:4]
    very = [alike, f"{device.rated_v:g}v", breaks, f"{sort}-{mark}" if device.extra else ""]
    words = [rated, poles, f"{device.rated_v:g} V", breaks, device.extra]
    return Bought(
        item=f"{device.kind}-{device.current}", words=", ".join(filter(None, words)),
        very="-".join(filter(None, very)).replace(" ", "").lower(), size=float(device.poles),
        alike=alike.replace(" ", "").lower(),
    )  # fmt: skip
