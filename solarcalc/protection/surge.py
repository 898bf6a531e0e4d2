"""Surge protective devices: how often lightning strikes, where they are needed, what leads cost.

They hold back what lightning nearby drives into long cables. They do not stop a direct strike on a
house without rods: nothing here replaces a lightning protection system.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from solarcalc.basis.check import Check, checked
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.published import published
from solarcalc.basis.sourced import FROM_MEMORY, NO_SOURCE, constant
from solarcalc.basis.worded import worded
from solarcalc.protection.case import Case, Device
from solarcalc.protection.neutral import upstream_ma
from solarcalc.sitefile.guessed import guess_range, is_given
from solarcalc.sitefile.loads import BOARDS
from solarcalc.sitefile.site import Site
from solarcalc.wiring.runs import of_plane, plane_key, stem_of
from solarcalc.wiring.string_plan import circuit_a


def ground_flash_density_per_km2(thunderstorm_days: float) -> float:
    """Flashes to the ground a year and square kilometre, by days with thunder.

    Parameters
    ----------
    thunderstorm_days : float
        A year, 0 or more [days].

    Raises
    ------
    InputError
        When it is negative.

    Notes
    -----
    The larger of 0.04 T^1.25 (IEC 61024 and IEEE 1410, read in a list of published values) and
    0.1 T. A count by satellite or by a network of stations goes before it.

    Examples
    --------
    >>> round(ground_flash_density_per_km2(80.0), 2)
    9.57
    """
    if not 0.0 <= thunderstorm_days <= 366.0:
        raise InputError(
            Fault(where="protection.thunderstorm_days", given=f"{thunderstorm_days:g}",
                  allowed="0 to 366",
                  why="days of a year", remedy="ask the weather service")
        )  # fmt: skip
    return max(by_power(thunderstorm_days), 0.1 * thunderstorm_days)


def by_power(thunderstorm_days: float) -> float:
    """Flashes to the ground by 0.04 T^1.25 alone, a year and square kilometre.

    In flashes [1/km2 a year].
    """
    return 0.04 * math.pow(thunderstorm_days, 1.25)


LEAD_KV_PER_M = constant("protection.lead_kv_per_m")
MOST_LEAD_M = constant("protection.most_lead_m")
FAR_M = constant("protection.far_m")
CRITICAL_M = constant("protection.critical_m")
MARGIN_FRAC = constant("protection.margin_frac")
LOW_BOARD_V = constant("protection.low_board_v")
BOARD_KV = (constant("protection.board_protection_kv"),
            constant("protection.board_withstand_kv"))  # fmt: skip
LOW_BOARD_KV = (constant("protection.low_board_protection_kv"),
                constant("protection.low_board_withstand_kv"))  # fmt: skip
"""Of surge devices as sold, and what appliances stand, up to `LOW_BOARD_V` [kV]."""
BACKUP_A = constant("protection.backup_a")
AC_FACTOR = constant("protection.ac_factor")
PV_FACTOR = constant("protection.pv_factor")
LEAD_MM2 = {
    1: constant("protection.lead_type_1_mm2"),
    2: constant("protection.lead_type_2_mm2"),
}
"""Copper to earth, by type of device [mm2]."""
SHORT_DELAY = "short delay"
"""Of a residual current device that a surge does not trip; its type G in some standards."""
LARGE_STAND_KA = float(constant("protection.residual_stands_ka"))
_MADE_AC_V = (150.0, 175.0, 255.0, 275.0, 320.0, 385.0, 440.0)
"""Continuous voltages that are made; makers' lists, from memory [V]."""


@dataclass(frozen=True, kw_only=True)
class SurgePoint:
    """One place for a surge device.

    Parameters
    ----------
    key, name, at : str
    run_key : str
        Run that enters there.
    current : {"dc", "ac"}
    needed : bool
    why : str
        Reason for or against, with figures.
    rated_v : float
        Least continuous voltage, U_c [V].
    protection_kv : float
        Protection voltage of such devices as they are sold, U_p [kV].
    withstand_kv : float
        What the equipment stands [kV].
    clause : str
    board : str
        Whose it is, where the boards differ in their phases.
    """

    key: str
    name: str
    at: str
    run_key: str
    current: str
    needed: bool
    why: str
    rated_v: float
    protection_kv: float
    withstand_kv: float
    clause: str
    board: str = ""

    @property
    def house(self) -> bool:
        """Whether it is at the end of the feeders, in the house."""
        return self.key.startswith("house-surge")

    @property
    def stem(self) -> str:
        """Runs of the boards' feeders that it hangs on; empty for direct current."""
        if self.current == "dc":
            return ""
        stem = "board_house" if self.house else "inverter_board"
        return f"{stem}_{self.board}" if self.board else stem

    @property
    def fuse_key(self) -> str:
        """Key of its backup fuse."""
        stem = self.key.removesuffix(f"-{self.board}") if self.board else self.key
        return f"{stem}-fuse-{self.board}" if self.board else f"{stem}-fuse"


def critical_length_m(flashes_per_year: float, of_one_m: float = 115.0) -> float:
    """Length of cable to the modules from which a surge device is asked for [m].

    Parameters
    ----------
    flashes_per_year : float
        On a km2; 0 gives an infinite length.
    of_one_m : float
        With one flash: 115 dwellings, 200 on the ground, 450 works and services [m].

    Examples
    --------
    >>> critical_length_m(5.0)
    23.0
    """
    return of_one_m / flashes_per_year if flashes_per_year > 0.0 else float("inf")


def lead_kv(lead_m: float, rise_ka: float = 1.0) -> float:
    """Voltage that the leads of a surge device add [kV].

    Parameters
    ----------
    lead_m : float
        Both leads together [m].
    rise_ka : float
        What the current rises by in a microsecond [kA]; 1 gives the rule of 1 kV a metre.
    """
    return float(LEAD_KV_PER_M) * lead_m * rise_ka


def string_continuous_v(cold_string_v: float, string_voc_v: float) -> float:
    """Least continuous voltage of a surge device for a string [V].

    The cold string decides, or 1.2 times its voltage at 25 degC, whichever is more.

    Parameters
    ----------
    cold_string_v, string_voc_v : float
        Open circuit at the record low and at 25 degC [V].
    """
    return max(cold_string_v, float(PV_FACTOR) * string_voc_v)


def board_continuous_v(line_v: float) -> float:
    """Least continuous voltage of a surge device of a board [V].

    Parameters
    ----------
    line_v : float
        Line to neutral [V].
    """
    return float(AC_FACTOR) * line_v


def surge_type(case: Case) -> int:
    """1 with lightning rods on the house, else 2."""
    return 1 if case.site.protection.lightning_protection else 2


def surge_points(case: Case) -> tuple[SurgePoint, ...]:
    """Every place that may need a surge device, needed or not."""
    return (*(point for one in case.planes for point in _array_points(one)), *_board_points(case))


def safe_thunder_days(site: Site) -> float:
    """Days with thunder that surge devices are bought for [days/year].

    As given; where nobody gave them, the most that is usual in such a latitude.
    """
    if is_given(site, "protection.thunderstorm_days"):
        return site.protection.thunderstorm_days
    return max(guess_range(site, "protection.thunderstorm_days"))


def safe_array_m(case: Case) -> float:
    """Cable to the modules that surge devices are bought for [m]; the longest usual if a guess."""
    runs = [each.run for stem in ("string", "dc_main") for each in case.of(stem)]
    return sum(
        run.length_m if run.length_given
        else max(guess_range(case.site, f"runs.{run.key}.length_m")) for run in runs
    )  # fmt: skip


def _array_points(case: Case) -> Iterator[SurgePoint]:
    length_m = safe_array_m(case)
    flashes = ground_flash_density_per_km2(safe_thunder_days(case.site))
    critical_m, rods = critical_length_m(flashes), case.site.protection.lightning_protection
    needed = rods or length_m >= critical_m
    why = f"{length_m:.0f} m of cable to the modules, critical {critical_m:.0f} m" \
        f" ({flashes:.1f} flashes per km² and year)" + ("; lightning rods" if rods else "")
    module = case.site.module
    least_v = string_continuous_v(
        case.cold_string_v, module.voc_v * case.site.array.modules_in_series
    )
    row = _row("surge_withstand", case.cold_string_v)
    made_v, protection_kv = _made_dc(least_v)
    for key, at, column, here, reason in (
        ("array-surge", "at the controller", "converter_kv", needed, why),
        ("array-surge-roof", "in the combiner box, at the modules", "module_kv",
         needed and length_m > float(FAR_M), f"{length_m:.0f} m of cable between the two ends"),
    ):  # fmt: skip
        yield SurgePoint(
            key=plane_key(key, case.plane), at=at, run_key=plane_key("dc_main", case.plane),
            name=of_plane("Surge device of the array, " + at.split(",")[0], case.site),
            current="dc", needed=here, why=reason, rated_v=made_v, protection_kv=protection_kv,
            withstand_kv=float(row[column]),
            clause=CRITICAL_M.source if key == "array-surge" else FAR_M.source,
        )  # fmt: skip


def _board_points(case: Case) -> Iterator[SurgePoint]:
    houses = case.of("board_house")
    far_m = max((each.run.length_m for each in houses), default=0.0)
    rods, made_v = case.site.protection.lightning_protection, _made_ac(case.line_v)
    outside = [word for word, there in (
        ("grid", case.has_grid), ("lightning rods", rods),
        (f"{far_m:.0f} m of cable to the house", far_m > float(FAR_M)),
    ) if there]  # fmt: skip
    alike = len({case.site.loads.phases_of(board) for board in BOARDS}) == 1
    low = case.line_v <= float(LOW_BOARD_V)
    protection_kv, withstand_kv = map(float, LOW_BOARD_KV if low else BOARD_KV)
    for (key, name, at, needed, reason), board in itertools.product((
        ("board-surge", "Surge device of the boards",
         "power room, at the inlet of each board, upstream of its RCD",
         bool(outside), ", ".join(outside) or "no wire comes in from outside"),
        ("house-surge", "Surge device of the house",
         "main distribution board, where each feeder comes in",
         bool(outside) and far_m > float(FAR_M), f"{far_m:.0f} m of cable to the house"),
    ), ("",) if alike else BOARDS):  # fmt: skip
        yield SurgePoint(
            key=f"{key}-{board}" if board else key, name=f"{name}, {board}" if board else name,
            at=at, board=board,
            run_key=houses[0].run.key if houses and key == "house-surge" else "",
            current="ac", needed=needed, why=reason, rated_v=made_v,
            protection_kv=protection_kv, withstand_kv=withstand_kv,
            clause="IEC 60364-4-44 cl. 443.4, from memory" if key == "board-surge"
            else FAR_M.source,
        )  # fmt: skip


def _row(table: str, voltage_v: float) -> dict[str, str]:
    rows = published(table).rows
    return next((row for row in rows if voltage_v <= float(row["up_to_v"])), rows[-1])


def _made_dc(least_v: float) -> tuple[float, float]:
    rows = published("surge_voltages").rows
    row = next((row for row in rows if float(row["rated_v"]) >= least_v), rows[-1])
    return max(float(row["rated_v"]), round(least_v, 1)), float(row["protection_kv"])


def _made_ac(line_v: float) -> float:
    least_v = board_continuous_v(line_v)
    return next((each for each in _MADE_AC_V if each >= least_v), round(least_v, 1))


def connection(system: str, lines: int, *, behind_residual: bool = False) -> tuple[int, int]:
    """Devices from the live conductors, and one from the neutral to earth: ``(1, 1)`` is 1+1.

    Parameters
    ----------
    system : {"TT", "TN-S", "IT"}
        Of the boards.
    lines : int
        Line conductors.
    behind_residual : bool
        Whether a residual current device stands before it: then varistors to earth would leak
        through that, so that the neutral's goes by a gap in every system.

    Notes
    -----
    IEC 60364-5-53 cl. 534.4.3: TT connection type 2 (lines to neutral by varistors, neutral to
    earth by a spark gap), TN-S type 1 (lines and neutral to earth); from memory, and as a maker's
    guide gives it. IT with its neutral led along as TT.

    Examples
    --------
    >>> connection("TT", 1), connection("TT", 3), connection("TN-S", 1), connection("TN-S", 3)
    ((1, 1), (3, 1), (2, 0), (4, 0))
    """
    return (lines, 1) if system != "TN-S" or behind_residual else (lines + 1, 0)


def point_type(case: Case, point: SurgePoint) -> int:
    """Type of the device of a place; behind a residual current device never type 1."""
    return 2 if point.house else surge_type(case)


def surge_devices(case: Case) -> Iterator[Device]:
    """Surge devices where they are needed, and the backup fuses of those that need one."""
    for point in surge_points(case):
        if not point.needed:
            continue
        kind = point_type(case, point)
        yield Device(
            key=point.key, name=point.name, kind="surge", run_key=point.run_key, at=point.at,
            current="dc" if point.current == "dc" else "ac", count=_count(case, point),
            poles=2 if point.current == "dc" else _poles(case, point), rated_a=None,
            rated_v=point.rated_v, breaking_ka=_withstand_ka(case, point),
            extra=f"{_type_words(case, kind, point)}; U_p at most"
            f" {_most_protection_kv(case, point):.1f} kV; copper to earth"
            f" {float(LEAD_MM2[kind]):g} mm² at least",
            clause=point.clause,
            asked=(f"type {'1+2' if kind == 1 else '2'}", f"U_c {point.rated_v:g} V",
                   f"U_p ≤ {_most_protection_kv(case, point):.1f} kV"),
        )  # fmt: skip
        yield from _backup_fuses(case, point)


def surge_proof(case: Case, residuals: Iterable[Device]) -> Iterator[Device]:
    """The residual current devices; one before a surge device of the house stands its current."""
    behind = any(point.needed and point.house for point in surge_points(case))
    for device in residuals:
        if behind and not device.delayed:
            yield replace(device, extra=f"{device.extra}, {SHORT_DELAY}, stands"
                          f" {LARGE_STAND_KA:g} kA (8/20 µs)")  # fmt: skip
        else:
            yield device


def plate_a(site: Site) -> float:
    """Largest device before a surge device without a fuse of its own, by its plate [A]."""
    given = site.protection.surge_backup_a
    return float(BACKUP_A) if given is None else given


def _before_a(case: Case, point: SurgePoint) -> tuple[float, ...]:
    """Rated current of the device before each of the surge devices of a place [A]."""
    return tuple(each.device_a or each.run.design_a for each in case.of(point.stem))


def _backup_fuses(case: Case, point: SurgePoint) -> Iterator[Device]:
    """A fuse in each line of those before which a larger device stands than the plate allows."""
    most_a = plate_a(case.site)
    count = sum(each > most_a for each in _before_a(case, point)) if point.stem else 0
    rated_a = _fuse_a(most_a)
    if count and rated_a:
        yield Device(
            **worded("protection", "surge-fuse", name=point.name, at=point.at),
            key=point.fuse_key, run_key="", count=count, poles=_poles(case, point) - 1,
            rated_a=rated_a, rated_v=case.ac_rated_v(_board_run(point)),
            breaking_ka=_withstand_ka(case, point),
            asked=("gG",),
        )  # fmt: skip


def _fuse_a(most_a: float) -> float | None:
    """Largest fuse made that a plate allows [A]; None where it allows none."""
    rows = published("device_ratings").rows
    made = [float(row["rating_a"]) for row in rows if row["kind"] == "fuse"]
    return max((each for each in made if each <= most_a), default=None)


def _count(case: Case, point: SurgePoint) -> int:
    """One a controller, one at the inlet of each board, one at the end of each feeder."""
    if point.current == "dc":
        return case.plane_of(point.key).site.controller.count
    return 1 if point.board else len(BOARDS)


def _board_run(point: SurgePoint) -> str:
    """A run of the board, or of one of those alike, that it hangs on."""
    return f"board_house_{point.board or BOARDS[0]}"


def _poles(case: Case, point: SurgePoint) -> int:
    """Of every line and the neutral where it stands, of alternating current."""
    return case.ac_poles(_board_run(point))


def _withstand_ka(case: Case, point: SurgePoint) -> float | None:
    """Short circuit that it must stand with its backup fuse [kA]."""
    if point.current == "dc":
        return None
    return case.site.protection.ac_fault_ka if case.has_grid else None


def _type_words(case: Case, kind: int, point: SurgePoint) -> str:
    both = f"type {'1 and 2' if kind == 1 else '2'}"
    if point.current == "dc":
        together = case.plane_of(point.key).strings_together
        isc_a = circuit_a(case.site.module.isc_a, together)
        pulse = "I_imp at least 5 kA" if kind == 1 else "I_n at least 5 kA"
        return f"{both}, plus and minus to earth, I_scpv at least {isc_a:.0f} A, {pulse}"
    lines, gap = connection(
        case.site.protection.system, _poles(case, point) - 1, behind_residual=point.house
    )  # fmt: skip
    own = "I_imp at least 12.5 kA" if kind == 1 else "I_n at least 5 kA"
    if not gap:
        return f"{both}, {lines}+0: each line and the neutral to earth, {own}"
    three = _poles(case, point) > 2
    summed = (f"I_imp at least {50 if three else 25} kA" if kind == 1
              else f"I_n at least {20 if three else 10} kA")  # fmt: skip
    return (f"{both}, {lines}+1: each line to neutral by a varistor, {own}; neutral to earth by a"
            f" spark gap, U_c at least {case.line_v:.0f} V, {summed}")  # fmt: skip


def _most_protection_kv(case: Case, point: SurgePoint) -> float:
    lead_m = min(case.site.protection.surge_lead_m, float(MOST_LEAD_M))
    return max(float(MARGIN_FRAC) * point.withstand_kv - lead_kv(lead_m), 0.0)


SURGE_NOTES = (
    "Coordination: two surge protective devices (SPD) of one circuit are of one manufacturer and"
    f" stated to be coordinated, or 10 m of cable apart ({NO_SOURCE}).",
    "Backup fuse: an SPD has a maximum fuse on its rating plate, often 125 A (type 2): where the"
    " upstream device is larger, it gets its own fuse. On the array side none is needed"
    f" while I_scpv is above the array's current ({FROM_MEMORY}).",
    "Leads straight and short, positive and negative laid close together, earthed to the same"
    " bar as the equipment it protects; check its status window after every storm.",
    "Order from the inverter on: circuit-breaker, cable, SPD, residual current device, busbar of"
    " the board. An SPD downstream of a residual current device has a spark gap from neutral to"
    " earth, and"
    f" the device upstream withstands {LARGE_STAND_KA:g} kA (8/20 µs).",
)


def surge_checks(case: Case) -> Iterator[Check]:
    """Checks of each place that needs a surge device."""
    points = surge_points(case)
    if any(point.needed for point in points):
        yield _leads(case)
    for point in points:
        if point.needed:
            yield _holds(case, point)
    yield from _backup(case, points)
    yield from _order(case, points)
    if case.site.protection.lightning_protection:
        yield _rods()
    yield from _too_high(points)


def _leads(case: Case) -> Check:
    lead_m = case.site.protection.surge_lead_m
    return checked(
        lead_m <= float(MOST_LEAD_M), "review" if lead_m <= 1.0 else "failed",
        rule="protection/surge-leads", kind="safety",
        item="Leads of a surge device, both together",
        found=f"{lead_m:g}, adds {lead_kv(lead_m):.1f} kV", limit=f"at most {float(MOST_LEAD_M):g}",
        unit="m", clause=MOST_LEAD_M.source,
        remedy="mount it beside the bar, or loop the line through its own terminals (in and out)",
    )  # fmt: skip


def _holds(case: Case, point: SurgePoint) -> Check:
    total_kv = point.protection_kv + lead_kv(case.site.protection.surge_lead_m)
    wanted_kv = float(MARGIN_FRAC) * point.withstand_kv
    source = published("surge_withstand").clause if point.current == "dc" else MARGIN_FRAC.source
    return checked(
        total_kv <= wanted_kv + 1e-9, "review" if total_kv <= point.withstand_kv else "failed",
        rule="protection/surge-voltage", kind="safety",
        item=f"{point.name}: voltage it lets through, with its leads",
        found=f"{total_kv:.2f}",
        limit=f"at most {wanted_kv:.2f}; the equipment stands {point.withstand_kv:g} kV",
        unit="kV", clause=source,
        remedy="shorter leads, an SPD with a lower voltage protection level U_p, or a second one"
        " at the equipment",
    )  # fmt: skip


def _backup(case: Case, points: tuple[SurgePoint, ...]) -> Iterator[Check]:
    most_a = plate_a(case.site)
    for point in points:
        if not (point.needed and point.stem):
            continue
        before_a = max(_before_a(case, point), default=0.0)
        fuse_a = _fuse_a(most_a)
        own = f", a fuse of its own of {fuse_a:g}" if before_a > most_a and fuse_a else ""
        yield checked(before_a <= most_a or fuse_a is not None, "failed", **worded(
            "protection", "backup-fuse-boards", name=point.name, before_a=before_a, own=own,
            most_a=most_a, backup_a_source=BACKUP_A.source,
        ))  # fmt: skip


def _order(case: Case, points: tuple[SurgePoint, ...]) -> Iterator[Check]:
    """Whether surge current flows through a residual current device that does not stand it."""
    residuals = case.site.protection.system != "IT"
    delayed = upstream_ma(case.site) is not None
    for point in points:
        if not (point.needed and point.stem):
            continue
        behind = residuals and (delayed or point.house)
        found = "upstream of every RCD" if not behind else (
            f"downstream of an RCD that withstands {LARGE_STAND_KA:g} kA"
            if point.house else
            "downstream of the time-delayed RCD (type S) of a source")
        type_1 = point_type(case, point) == 1 and behind
        rods = surge_type(case) == 1 and point.house and behind
        yield checked(not (type_1 or rods), **worded(
            "protection", "surge-order", name=point.name, found=found,
        ))  # fmt: skip


def _rods() -> Check:
    return Check(**worded("protection", "lightning-rods-array"), outcome="review")


def _too_high(points: tuple[SurgePoint, ...]) -> Iterator[Check]:
    highest_v = max(each or 0.0 for each in published("surge_voltages").numbers("rated_v"))
    for point in points:
        if point.current == "dc" and point.needed and point.rated_v > highest_v:
            yield checked(
                False, "failed",
                rule="protection/surge-continuous", kind="safety",
                item=f"{point.name}: continuous voltage",
                found=f"{point.rated_v:.0f}", limit=f"at most {highest_v:.0f} made", unit="V",
                clause=published("surge_voltages").clause, remedy="fewer modules in series",
            )  # fmt: skip


def spared_words(case: Case) -> tuple[str, ...]:
    """Where no surge device is asked for and why, a sentence each."""
    return tuple(
        f"{point.name}: not asked for, {point.why}."
        for point in surge_points(case)
        if stem_of(point.key).startswith(("array-surge", "board-surge")) and not point.needed
        and stem_of(point.key) != "array-surge-roof"
    )


def type_words(case: Case) -> str:
    """Why this type, for the page."""
    if surge_type(case) == 1:
        return "type 1 and 2: the house has an LPS, whose current may enter"
    return f"type 2: no LPS, only surges through the cables ({NO_SOURCE})"
