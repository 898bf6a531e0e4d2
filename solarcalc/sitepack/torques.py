"""One row a kind of joint or a setting: how many there are, and boxes for what the maker says."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping

from solarcalc.basis.files import data_rows
from solarcalc.basis.quantity import grouped
from solarcalc.basis.text import small
from solarcalc.battery.bank import set_points
from solarcalc.battery.wiring import charge_settings_a, charger_setting_a
from solarcalc.installation.records import Installation, Part
from solarcalc.loads.phases import shares_of
from solarcalc.loads.shedding import shed_steps
from solarcalc.protection.alternating import input_limit_a, lowest_source
from solarcalc.protection.neutral import upstream_ma
from solarcalc.sitefile.battery import Battery
from solarcalc.sitefile.loads import BOARDS, Board
from solarcalc.sitefile.site import Site
from solarcalc.supply.engine import levels_of, source_w
from solarcalc.wiring.runs import charger_of_a, controllers_by_bank, grouped_boards

Row = dict[str, object]
Level = Callable[[float], float]
LOCAL_CODE = "local code"
MAKERS = "from the manufacturer's data sheet"
TORQUE_COLUMNS = ("what", "tags", "joints", "by the design", "unit", "set to", "sheet, page",
                  "initials")  # fmt: skip


def torque_rows(built: Installation, *, level: Level) -> list[Row]:
    """Joints, then settings: the torque and what was set are boxes to fill in.

    A torque is that of the maker of the joint and of no list; the design knows none. What it
    knows of a setting is beside the box, and the maker's sheet goes before it.

    Parameters
    ----------
    built : Installation
    level : callable
        A level of the site file as the year runs on it, `stages.boards.level_frac` [0 to 1]:
        what a device is set to is what the year counts on.
    """
    return [*_joints(built), *_once(_settings(built, level))]


def _once(rows: Iterable[Row]) -> list[Row]:
    """Rows that say the same of several devices as one row with the tags of all."""
    found: dict[tuple[object, object], Row] = {}
    for row in rows:
        same = found.setdefault((row["what"], row["by the design"]), row)
        if same is not row:
            same["tags"] = f"{same['tags']}, {row['tags']}"
    return list(found.values())


def _joints(built: Installation) -> Iterator[Row]:
    for rule in data_rows("joints"):
        parts = [part for part in built.of_kind(rule["kinds"]) if part.bought or part.device]
        count = sum(joint_count(built, part, rule) for part in parts)
        if count:
            yield _row(
                rule["joint"], ", ".join(part.tag for part in parts), count, "", "Nm",
                tool=rule["tool"],
            )  # fmt: skip


def joint_count(built: Installation, part: Part, rule: Mapping[str, str]) -> int:
    """Joints of one kind at all of a part."""
    each = int(rule["each"])
    if rule["by"] == "each":
        return each * part.count
    if rule["by"] == "pole":
        return each * part.count * part.poles if part.bought else 0
    if rule["by"] == "pole and earth":
        return each * part.count * (part.poles + 1) if part.bought else 0
    return each * sum(
        one.cores * one.count * ((one.start == part.key) + (one.end == part.key))
        for one in built.conductors if one.key != "earth-electrode"
    )  # fmt: skip


def _row(
    what: str, tags: str, joints: int | str, design: str, unit: str, *, tool: str = ""
) -> Row:
    return {
        "what": what, "tags": tags, "joints": joints, "by the design": design, "unit": unit,
        "set to": "", "sheet, page": "", "initials": "", "checked again": "", "tool": tool,
        "source": MAKERS if not design else "design; the manufacturer's data sheet takes"
        " precedence",
    }  # fmt: skip


def _settings(built: Installation, level: Level) -> Iterator[Row]:
    site = built.site
    for board, battery in site.banks.items():
        yield from _of_bank(built, site, board, battery)
        yield from _of_levels(built, board, battery, level)
    yield from _of_sources(built, site)
    yield from _of_source_levels(built, site, level)


def _tags(built: Installation, *kinds: str) -> str:
    return ", ".join(part.tag for part in built.of_kind(*kinds))


def _of_bank(built: Installation, site: Site, board: str, battery: Battery) -> Iterator[Row]:
    """Charge voltages at 25 degC, limits of current, and where the voltage ends it."""
    points, chargers = set_points(battery), _tags(built, "controller")
    words = "" if board == "shared" else f", {board} bank"
    own = [one.controller for one in site.sites]
    if board != "shared":
        own = [site.controller.model_copy(update={"count": controllers_by_bank(site)[board]})]
    mains_a = charger_of_a(site, board)
    whose: Board = "nonessential" if board == "nonessential" else "essential"
    count, charging = site.inverter_of(whose).count, built.by_key[f"inverter-{whose}"].tag
    if site.sources:
        chargers = f"{chargers}, {charging}"
    equalise = "never" if points.equalise_v is None else f"{points.equalise_v:.1f}"
    warmth = battery.traits.charge_by_temperature
    cut_v = battery.cells_in_series * battery.traits.empty.cell_v
    inverters = _tags(built, "inverter") if board == "shared" else charging
    idle = [part.tag for part in built.of_kind("inverter")
            if board == "shared" and part.tag != charging]  # fmt: skip
    several = any(site.inverter_of(one).count > 1 for one in (BOARDS if idle else (whose,)))
    for what, tags, design, unit in (
        ("Absorption voltage at 25 °C", chargers, f"{points.absorption_v:.1f}", "V"),
        ("Float voltage at 25 °C", chargers, f"{points.float_v:.1f}", "V"),
        ("Equalising voltage at 25 °C", chargers, equalise, "V"),
        ("Compensation by the battery's sensor", chargers,
         grouped(f"{-1000.0 * points.compensation_v_per_k:.0f}")
         if points.compensation_v_per_k else "none", "mV/K"),
        *(("Charge current, each controller", part.tag, f"{each_a:g}", "A")
          for part, each_a in zip(built.of_kind("controller"),
                                  charge_settings_a(battery, own, mains_a), strict=True)),
        *((f"Charge current of the charger at most{', each' * several}", tag, amperes, "A")
          for tag, amperes in ((charging, f"{charger_setting_a(battery, own, mains_a, count):g}"),
                               *((one, "0") for one in idle)) if mains_a),
        ("Low-voltage cut", inverters, f"{cut_v:.1f}", "V"),
        *(("Charge stops where the battery is " + words_c, chargers, f"{limit_c:g}", "°C")
          for words_c, limit_c in (("below", warmth.stops_below_c),
                                   ("above", warmth.stops_above_c)) if limit_c is not None),
    ):  # fmt: skip
        yield _row(f"{what}{words}", tags, "", design, unit)


def _of_levels(built: Installation, board: str, battery: Battery, level: Level) -> Iterator[Row]:
    """Levels at which boards go and come back, and each step of the nonessential one."""
    words = "" if board == "shared" else f", {board} bank"
    shed = built.by_key.get("inverter-nonessential")
    sheds = shed.tag if shed else _tags(built, "inverter")
    for what, frac, tags in (
        ("minimum (discharge limit)", battery.min_soc_frac, _tags(built, "inverter")),
        ("at which the nonessential board is shed", battery.nonessential_shed_frac, sheds),
        ("at which the nonessential board is fully reconnected",
         battery.nonessential_return_frac, sheds),
    ):  # fmt: skip
        yield _level_row(tags, f"{what}{words}", level(frac))
    for step in shed_steps(built.site.loads) if board != "essential" else ():
        for what, share in (("is shed", step.off_share_frac), ("is back", step.back_share_frac)):
            at = step.level_frac(share, battery.nonessential_shed_frac,
                                 battery.nonessential_return_frac)  # fmt: skip
            said = f"at which shedding step {step.number} {what}{words}"
            yield _level_row(sheds, said, level(at))


def _level_row(tags: str, what: str, frac: float) -> Row:
    return _row(f"State of charge {what}, cold included", tags, "",
                f"{100.0 * frac:.0f}", "%")  # fmt: skip


def _of_sources(built: Installation, site: Site) -> Iterator[Row]:
    """What inverters are told of voltage, grid and generator, and the trip current of devices."""
    inverters = _tags(built, "inverter")
    several = sum(one.count for one in site.inverters.values()) > 1
    of_all = ", all inverters together" if several else ""
    yield _row("Output voltage, line to neutral", inverters, "",
               f"{site.supply.ac_voltage_v:g}", "V")  # fmt: skip
    yield _row("Output frequency", inverters, "", LOCAL_CODE, "Hz")
    if site.grid.there:
        yield _row("Voltage and frequency window of the grid input", inverters, "", LOCAL_CODE, "")
        fed_w = site.quote.tariff.feed_in_limit_w
        yield _row(f"Power fed into the grid at most{of_all if fed_w else ''}", inverters, "",
                   f"{fed_w:g}" if fed_w else "none", "W")  # fmt: skip
    for board in grouped_boards(site):
        tag, together = built.by_key[f"inverter-{board}"].tag, site.inverter_of(board)
        phases = site.loads.phases_of(board)
        lines = ", ".join(f"L{number % phases + 1}" for number in range(together.count))
        yield _row("Phase of each inverter in turn, the first as master",
                   tag, "", lines if together.one_a_phase else "in parallel", "")  # fmt: skip
    for one in built.of_kind("inverter") if site.sources else ():
        if site.loads.phases_of(one.board) == 1 < site.loads.phases:
            yield _row("Line of its input, the one that has least on it", one.tag, "",
                       least_loaded_line(site), "")
    if site.sources:
        lowest_w = source_w(site)[lowest_source(site)]
        limit = f"Limit of the input for {' and '.join(site.sources)}{of_all}"
        yield _row(limit, inverters, "", f"{math.floor(lowest_w)}", "W")
        yield _row(f"{limit}, a line", inverters, "", f"{input_limit_a(site)}", "A")
    own_ma, above_ma = site.protection.residual_ma, upstream_ma(site)
    for part in built.of_kind("residual"):
        yield _row(f"Tripping current, {small(part.name)}", part.tag, "",
                   f"{above_ma if part.device and part.device.delayed else own_ma:g}",
                   "mA")  # fmt: skip


def least_loaded_line(site: Site) -> str:
    """The line of the supply that has least on it by the boards that take all of its phases.

    An inverter of a single phase is connected to it: ``"L3"``; of lines alike to the first.
    """
    phases = site.loads.phases
    here_va = [0.0] * phases
    for board in site.inverters:
        if site.loads.phases_of(board) == phases:
            on_lines = shares_of(getattr(site.loads, board), phases)[1].values()
            here_va = [sum(pair) for pair in zip(here_va, on_lines, strict=True)]
    return f"L{here_va.index(min(here_va)) + 1}"


def _of_source_levels(built: Installation, site: Site, level: Level) -> Iterator[Row]:
    """Levels at which the grid charges and the generator runs; a grid that never charges has 0."""
    inverters = _tags(built, "inverter")
    if site.grid.there:
        below = site.grid_charges_below_frac
        yield _level_row(inverters, "below which the grid charges", level(below) if below else 0.0)
    if site.generator.there:
        for what, frac in zip(("starts", "stops"), levels_of(site), strict=True):
            yield _level_row(inverters, f"at which the generator {what}", level(frac))
