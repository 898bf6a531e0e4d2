"""Voltage along a chain of cables with loads tapped off it, and the drop of the whole system.

A voltage drop worked out run by run, each at its own design current, says whether a run is thick
enough. What arrives at the end, at the power really drawn, is worked out here for runs one after
another: a load that takes a fixed power draws more current the lower its voltage.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.worded import worded
from solarcalc.sitefile.loads import BOARDS
from solarcalc.sitefile.site import Site
from solarcalc.wiring.runs import SizedRun, of_plane, plane_key, strings_by_controller

_MOST_ROUNDS = 200
_SETTLED_FRAC = 1e-12


@dataclass(frozen=True, kw_only=True)
class Section:
    """A cable and what is drawn at its far end.

    Parameters
    ----------
    name : str
        In words.
    r_ohm, x_ohm : float
        Direct current and one phase: of both conductors together; three phases: of one [ohm].
    load_w : float
        Drawn at the far end, beside what goes on; three phases: all together [W].
    power_factor : float
        Of that load, lagging, [0 to 1].
    """

    name: str = ""
    r_ohm: float
    x_ohm: float = 0.0
    load_w: float = 0.0
    power_factor: float = 1.0


def chain_voltages(source_v: float, sections: Sequence[Section]) -> tuple[float, ...]:
    """Voltage at the source and at the far end of each section [V].

    For direct current, one phase and three phases evenly loaded, three from line to line. Loads
    take a fixed power. Cables have no capacitance here, which is of no matter at this size.

    Parameters
    ----------
    source_v : float
        Held at the head of the chain, above 0 [V].
    sections : sequence of Section
        From the source on.

    Returns
    -------
    tuple of float
        One more than there are sections [V].

    Raises
    ------
    InputError
        When a value is no number or out of its range, or when the cables cannot carry the power
        at any voltage; it names the section.

    Notes
    -----
    With P and Q received at the far end of a section:
    V2^2 = (b + sqrt(b^2 - 4 (R^2 + X^2)(P^2 + Q^2))) / 2, b = V1^2 - 2 (R P + X Q);
    for direct current that is V2 = (V1 + sqrt(V1^2 - 4 R P)) / 2. A section receives what its
    load takes, what goes on, and the loss behind it, (R, X) (P^2 + Q^2) / V2^2 of each further
    section, worked out again until nothing moves. The branch equations of a radial line,
    Baran and Wu 1989, IEEE Trans. Power Delivery 4:725.

    Examples
    --------
    >>> [round(v, 2) for v in chain_voltages(48.0, [Section(r_ohm=0.01, load_w=2000.0)])]
    [48.0, 47.58]
    """
    faults = _section_faults(source_v, sections)
    if faults:
        raise InputError(faults)
    squares = [source_v**2] * (len(sections) + 1)
    for _ in range(_MOST_ROUNDS):
        before, received = squares, _received(squares, sections)
        squares = [source_v**2]
        for section, (power_w, other_var) in zip(sections, received, strict=True):
            squares.append(_square_at_end(squares[-1], section, power_w, other_var))
        if max(abs(a - b) for a, b in zip(before, squares, strict=True)) <= (
            _SETTLED_FRAC * source_v**2
        ):
            return tuple(math.sqrt(square) for square in squares)
    raise InputError(_collapse(sections[-1]))


def _received(squares: Sequence[float], sections: Sequence[Section]) -> list[tuple[float, float]]:
    """Power, and reactive power, that comes out of each section at the voltages so far."""
    found, power_w, other_var = [], 0.0, 0.0
    for section, square in zip(reversed(sections), reversed(squares), strict=False):
        angle = math.acos(section.power_factor)
        power_w += section.load_w
        other_var += section.load_w * math.tan(angle)
        found.append((power_w, other_var))
        amps_squared = (power_w**2 + other_var**2) / square
        power_w += section.r_ohm * amps_squared
        other_var += section.x_ohm * amps_squared
    return found[::-1]


def _square_at_end(square: float, section: Section, power_w: float, other_var: float) -> float:
    half = square - 2.0 * (section.r_ohm * power_w + section.x_ohm * other_var)
    product = (section.r_ohm**2 + section.x_ohm**2) * (power_w**2 + other_var**2)
    rest = half**2 - 4.0 * product
    if half <= 0.0 or rest < 0.0:
        raise InputError(_collapse(section))
    return (half + math.sqrt(rest)) / 2.0


def _collapse(section: Section) -> Fault:
    return Fault(
        **worded("wiring", "collapse", r_ohm=section.r_ohm, load_w=section.load_w),
        where=f"section {section.name}".strip(),
    )  # fmt: skip


def _section_faults(source_v: float, sections: Sequence[Section]) -> list[Fault]:
    faults = []
    if not (math.isfinite(source_v) and source_v > 0.0):
        faults.append(Fault(where="source_v", given=f"{source_v}", allowed="above 0 V"))
    for number, section in enumerate(sections, start=1):
        where = f"section {section.name or number}"
        for name in ("r_ohm", "x_ohm", "load_w"):
            value = getattr(section, name)
            if not (math.isfinite(value) and value >= 0.0):
                faults.append(Fault(where=f"{where}: {name}", given=f"{value}", allowed="from 0"))
        if not 0.0 < section.power_factor <= 1.0:
            faults.append(
                Fault(where=f"{where}: power_factor", given=f"{section.power_factor}",
                      allowed="above 0 up to 1")
            )  # fmt: skip
    return faults


def section_of(sized: SizedRun, load_w: float = 0.0, *, together: int = 1) -> Section:
    """A run with its cable as a section of a chain.

    Parameters
    ----------
    sized : SizedRun
    load_w : float
        Drawn at its far end [W].
    together : int
        Runs alike that carry the current side by side, such as the strings of a controller.

    Notes
    -----
    R from the loss at the design current, R = P / I^2, of three phases a third; X from what the
    drop has beside R cos phi. Both are those of the conductor at the design current's warmth.
    """
    run, amps = sized.run, sized.run.design_a
    three = run.current == "ac" and run.loaded == 3
    r_ohm = sized.loss_w / amps**2 / (3.0 if three else 1.0)
    drop_ohm = sized.drop_v / amps / (math.sqrt(3.0) if three else 1.0)
    sine = math.sqrt(1.0 - run.power_factor**2)
    x_ohm = max((drop_ohm - r_ohm * run.power_factor) / sine, 0.0) if sine > 0.0 else 0.0
    return Section(
        name=run.name, r_ohm=r_ohm / together, x_ohm=x_ohm / together, load_w=load_w,
        power_factor=run.power_factor,
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class ChainPart:
    """A part of the system between two converters, at full load.

    Parameters
    ----------
    name : str
        In words.
    run_keys : tuple of str
        From its source on.
    load_w : float
        At its end [W].
    volts : tuple of float
        At its source and at the end of each run; 0 where the runs cannot carry the load [V].
    loss_kwh_per_year : float
        Of its runs, by the hourly currents, all alike together [kWh/year].
    """

    name: str
    run_keys: tuple[str, ...]
    load_w: float
    volts: tuple[float, ...]
    loss_kwh_per_year: float

    @property
    def drop_frac(self) -> float:
        """From its source to its end, of the voltage at the source, [0 to 1]."""
        return 1.0 - self.volts[-1] / self.volts[0]


def chain_of(site: Site, sized: Sequence[SizedRun]) -> tuple[ChainPart, ...]:
    """The whole chain from modules to house, part by part, each at full load.

    Array: the modules at their rated current and hottest, on the fullest controller. Battery: each
    controller at its rated current, each inverter at its continuous power, the bank at its
    nominal voltage. Boards: each at the continuous power of its inverter. A part whose cables
    cannot carry that has no voltage at its end: a design that fails, not a fault of the file.

    Parameters
    ----------
    site : Site
    sized : sequence of SizedRun
        Of `system.runs_of`, each with its cable.
    """
    by_key = {one.run.key: one for one in sized}
    planes = list(enumerate(site.sites, start=1))
    parts = [_array_part(one, by_key, number) for number, one in planes]
    parts += [
        _part(of_plane(_COMMON[1], one), by_key, (plane_key("controller_battery", number),), (
            one.controller.max_charge_current_a * site.battery.nominal_voltage_v))
        for number, one in planes
    ]
    one = site.supply.one_inverter
    for board in BOARDS:
        inverter = site.inverter_of(board)
        if f"battery_inverter_{board}" in by_key:
            parts.append(_part(
                "Battery to inverter" if one else f"Battery to inverter, {board} board", by_key,
                (f"battery_inverter_{board}",),
                inverter.continuous_power_w / inverter.efficiency_frac,
            ))
        if f"inverter_output_{board}" in by_key:
            parts.append(_part(
                "Inverter to its output board" if one
                else f"Inverter to its output board, {board} board", by_key,
                (f"inverter_output_{board}",), inverter.continuous_power_w,
            ))
        parts.append(_part(
            f"Inverter to house, {board} board", by_key,
            (f"inverter_board_{board}", f"board_house_{board}"), inverter.total_power_w,
        ))
    return tuple(parts)  # fmt: skip


def _part(
    name: str, by_key: dict[str, SizedRun], keys: tuple[str, ...], load_w: float
) -> ChainPart:
    sections = [section_of(by_key[key]) for key in keys]
    sections[-1] = replace(sections[-1], load_w=load_w)
    return ChainPart(
        name=name, run_keys=keys, load_w=load_w,
        volts=_volts_or_none(by_key[keys[0]].run.voltage_v, sections),
        loss_kwh_per_year=sum(by_key[key].loss_kwh_per_year for key in keys),
    )  # fmt: skip


def _volts_or_none(source_v: float, sections: Sequence[Section]) -> tuple[float, ...]:
    """Voltages, or 0 behind the source where the cables cannot carry the power."""
    try:
        return chain_voltages(source_v, sections)
    except InputError:
        return (source_v, *(0.0 for _ in sections))


def _array_part(site: Site, by_key: dict[str, SizedRun], plane: int) -> ChainPart:
    """Strings and main, strings side by side: the modules push their rated current, hot."""
    keys = plane_key("string", plane), plane_key("dc_main", plane)
    string, main = (by_key[key] for key in keys)
    fullest, hot_v = strings_by_controller(site)[0], string.run.voltage_v
    amps = fullest * site.module.imp_a
    sections = [section_of(string, together=fullest), section_of(main)]
    load_w = amps * hot_v - amps**2 * sum(section.r_ohm for section in sections)
    sections[-1] = replace(sections[-1], load_w=load_w)
    return ChainPart(
        name=of_plane(_COMMON[0], site), run_keys=keys, load_w=load_w,
        volts=_volts_or_none(hot_v, sections),
        loss_kwh_per_year=string.loss_kwh_per_year + main.loss_kwh_per_year,
    )  # fmt: skip


def whole_drop_frac(parts: Sequence[ChainPart]) -> float:
    """Drop of the longest way from modules to house, sum of its parts', [0 to 1].

    Parameters
    ----------
    parts : sequence of ChainPart

    Notes
    -----
    Of the boards, and of the roof planes, the one that loses more; each part's drop is of its own
    voltage, so the sum is about the share of power that warms cables at full load.
    """
    by_name = {part.name: part.drop_frac for part in parts}
    common = sum(max((drop for name, drop in by_name.items()
                      if name == stem or name.startswith(f"{stem},")), default=0.0)
                 for stem in _COMMON)  # fmt: skip
    boards = [
        sum(by_name.get(f"{name}, {board} board", by_name.get(name, 0.0)) for name in _BY_BOARD)
        for board in BOARDS
    ]
    return common + max(boards)


_COMMON = ("Modules to controller", "Controller to battery")
_BY_BOARD = ("Battery to inverter", "Inverter to its output board", "Inverter to house")


def chain_rows(parts: Sequence[ChainPart]) -> list[dict[str, str]]:
    """Rows for a table: each part, its power, the voltage along it, its drop and its loss."""
    return [
        {
            "part": part.name,
            "full load [W]": f"{part.load_w:.0f}",
            "voltage along it [V]": " → ".join(f"{volts:.1f}" for volts in part.volts)
            if part.volts[-1] > 0.0 else "the cables cannot carry it",
            "drop [%]": f"{100.0 * part.drop_frac:.2f}",
            "lost [kWh/year]": f"{part.loss_kwh_per_year:.1f}",
        }
        for part in parts
    ]
