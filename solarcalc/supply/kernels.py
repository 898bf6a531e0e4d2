"""The compiled hour loop of supply: one bank and its boards, an hour at a time.

All of it stands in this one file, since the kept machine code is checked against the file of
each function alone. Powers are means over the hour [W], energies in [Wh], all in double
precision. Sums stay in order, so that nothing depends on how many threads share the work. No
value may be infinite. `hour` has choices but no branches, so that the compiler can work on
several systems at once; it is the one place where the rules of an hour stand. `ample_hour` is what
is left of them where a bank has enough for all: the same to the last bit, in less than half the
time, so that systems that share a loop do not depend on one another.

The bank is two wells. With q0 = q1 + q2, k the rate of exchange [1/h], c the share of the well
that current comes from, and d the power drawn inside (negative when charging), one hour gives

    q1' = q1 e^-k + (q0 k c - d) (1 - e^-k) / k - d c (k - 1 + e^-k) / k
    q0' = q0 - d

(Manwell and McGowan 1993, Solar Energy 50(5), 399-405, from memory; held against a numerical
integration in the tests). It is kept here as q1' = keep q1 + gain q0 - give d, and holds for
what is drawn. A charge is not held up by that exchange: it is limited by the charger, and near
full by what the bank still accepts, and goes into each well by what that one lacks. So both are
full together, and more in either well is never less in either after the hour.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple, TypeVar, cast

import numba
import numpy as np

from solarcalc.sweep.compiled import INNER, TO_THE_BIT, compiled

Function = TypeVar("Function", bound=Callable[..., object])


def inlined(function: Function) -> Function:
    """Compile a part that becomes one with the loop that calls it, which is kept on disk."""
    choice: Any = {"nogil": True, "fastmath": TO_THE_BIT, "forceinline": True, **INNER}
    return cast(Function, numba.njit(error_model="numpy", **choice)(function))


NOT_SUPPLIED_W = 0.5
"""A board short of less than this is taken as supplied: rounding, no want [W]."""
MARGIN_FRAC = 1e-9
"""Charge this close to a level counts as at it: rounding must not decide."""
TINY_W = 1e-9
"""Stands in a divisor for no power at all [W]."""
BLOCK = 72
"""Hours between the marks at which a year may meet the one before it."""
LANES = 16
"""Pairs worked on together, hour by hour: the processor's vector registers hold a few each."""
MOST_YEARS = 40
"""Years a bank may take to close."""
MOST_YEARS_ENGINE = 6
"""The same with a generator, which may go on in a rhythm of its own that no year closes."""
MET_FRAC = 1e-7
"""Difference of charge, of the capacity, at which two years have met."""
(SUN, ESSENTIAL, NONESSENTIAL, PRESENT, GRID_W, WORKS, CHARGE, ESSENTIAL_ASKED,
 NONESSENTIAL_ASKED) = range(9)
"""Columns of the series: sun at the bus [W], what the inverters can serve of both loads [W],
share of the hour with grid, the most it gives as a mean [W], 1 where the bank is neither too
cold nor too hot to be drawn from, else 0, share of the charge limit that holds, both loads [W]."""
SUMS = (
    "essential_without_supply_h", "nonessential_without_supply_h", "essential_not_supplied_wh",
    "nonessential_not_supplied_wh", "curtailed_wh", "throughput_wh", "generator_h",
    "fuel_l", "grid_wh",
)  # fmt: skip
"""What a year adds up to."""
STATE = 3
"""Values of a state: both wells, generator on."""
TAKEN, USED, ARRAY, BANK = (LANES * (STATE + len(SUMS) + i) for i in range(4))
"""Where in the lanes stand grid power taken by others and here, scales of array and bank."""


class Island(NamedTuple):
    """One bank and what hangs on it; capacity and limits are those at a scale of 1.

    Levels of charge are shares of the capacity, the cold's share of the reserve already in them.
    `accepted_frac` is the share of what is missing that an hour at absorption voltage stores.
    """

    capacity_wh: float
    first_frac: float
    keep: float
    gain: float
    give: float
    charge_efficiency: float
    discharge_efficiency: float
    max_charge_w: float
    max_discharge_w: float
    accepted_frac: float
    self_discharge: float
    floor_frac: float
    shed_frac: float
    band_frac: float
    essential_efficiency: float
    essential_no_load_w: float
    nonessential_efficiency: float
    nonessential_no_load_w: float
    grid_first: bool
    grid_frac: float
    charger_efficiency: float
    charger_w: float
    generator_w: float
    warm_up_h: float
    start_frac: float
    stop_frac: float
    least_w: float
    idle_fuel_l: float
    fuel_l_per_wh: float


@inlined
def from_source(offer: Any, idle: Any, load: Any, efficiency: Any) -> Any:
    """What a board takes of a power, for idle draw first, and what it still needs.

    From the bus a load needs 1 / efficiency; grid and generator serve past the inverter, with 1.
    Gives power taken, the part of it that is idle draw, idle draw and load left.
    """
    need = idle + load * (1.0 / efficiency)
    got = min(offer, need)
    paid = min(got, idle)
    left = load - (got - paid) * efficiency
    return got, paid, idle - paid, 0.0 if offer >= need else left


@inlined
def serve(need: Any, efficiency: Any, store: Any, mains: Any) -> Any:
    """The essential board's hour after the sun.

    `store` is what the bank may give above the level at which the grid serves first, and in all;
    `mains` the share of the hour with grid, the grid's offer and the generator's. In the share
    with grid the store serves down to that level and the grid the rest; then comes the generator,
    then the store again. Gives what comes from grid, generator and store, load left, idle draw
    left, idle draw paid from the store.
    """
    above, most = store
    present, grid_w, engine_w = mains
    idle, load = need
    one, paid_one, i, rest = from_source(above, present * idle, present * load, efficiency)
    x, _, i, rest = from_source(grid_w, i, rest, 1.0)
    absent = 1.0 - present
    y, _, i, rest = from_source(engine_w, i + absent * idle, rest + absent * load, 1.0)
    two, paid_two, i, rest = from_source(most - one, i, rest, efficiency)
    return x, y, one + two, rest, i, paid_one + paid_two


@inlined
def share_by_level(bank: Any, limits: Any, need: Any, level: Any, efficiencies: Any) -> Any:
    """Share of a draw at the bus that sun and store give, by the charge the hour ends with.

    All of it where the bank ends the hour a band above `level` in spite of it, none where it ends
    at `level` without it, and in between in proportion: the share d that solves

        d = (charge at the end, less need d, - level) / band

    The charge at the end falls with the draw in three straight pieces: while sun is curtailed
    it stays, then less is charged, then more is drawn; the least of their solutions is the one.
    Sun that the bank cannot take in lowers no charge: it is given at any level. `bank` is charge,
    room for charge and sun left, `limits` the band and the most the store gives.
    """
    total, room, left = bank
    band, most = limits
    inward, outward = efficiencies
    per, above = 1.0 / outward, total - level
    kept = (above + inward * room) / band
    charged = (above + inward * left) / (band + inward * need)
    drawn = (above + per * left) / (band + per * need)
    whole = max(need, TINY_W)
    refused = max(left - room, 0.0) / whole
    share = min(max(min(min(kept, charged), drawn), refused), 1.0)
    return max(min(share, (left + most) / whole), 0.0)


@inlined
def room_for(island: Any, missing: Any, most_w: Any) -> Any:
    """Most that can be charged in the hour, at the terminals, where so much is missing to full."""
    room = island.accepted_frac * missing * (1.0 / island.charge_efficiency)
    return max(min(room, most_w), 0.0)


@inlined
def rested(island: Any, full: Any, q1: Any, q2: Any) -> Any:
    """What a bank loses by itself in an hour, then its charge and what of it is at hand [Wh]."""
    level, margin = q1 + q2, MARGIN_FRAC * full
    lost = island.self_discharge * max(level - island.floor_frac * full, 0.0)
    total = level - lost
    return lost, total, (q1 - q1 * (lost / max(level, margin))) * island.keep + total * island.gain


@inlined
def charged(island: Any, full: Any, at: Any, put: Any) -> Any:
    """Both wells after so much came into a bank [Wh], each by what it lacked."""
    q1 = at[1] + (island.first_frac * full - at[1]) * (put / max(full - at[0], MARGIN_FRAC * full))
    return q1, at[0] + put - q1


@inlined
def hour(island: Any, now: Any, scales: Any, state: Any, taken: Any, rated_w: Any) -> Any:
    """One hour: the state after it, what it adds to the sums, and the flows behind them.

    `now` is the hour's line of the series, `scales` those of array and bank, `state` both wells
    and generator on, `taken` the grid power that others have, `rated_w` the generator's rating.
    Where grid and generator are constants of 0, so is all that hangs on them.
    """
    q1, q2, engine = state
    full, sun = island.capacity_wh * scales[1], now[SUN] * scales[0]
    inward, outward = island.charge_efficiency, island.discharge_efficiency
    per_out, level = 1.0 / outward, q1 + q2
    floor, margin = island.floor_frac * full, MARGIN_FRAC * full
    lost, total, ready = rested(island, full, q1, q2)
    most = min(island.max_discharge_w * scales[1],
               min(total - floor, ready * (1.0 / island.give)) * outward)  # fmt: skip
    most = max(most, 0.0) * now[WORKS]
    present, grid_w = now[PRESENT], max(now[GRID_W] - taken, 0.0)
    share = present if grid_w > 0.0 else 0.0
    grid_level = island.grid_frac * full if share > 0.0 else 0.0
    # essential board: sun, then is the generator wanted, then the rest
    s_c, paid_c, ic, lc = from_source(
        sun, island.essential_no_load_w, now[ESSENTIAL], island.essential_efficiency
    )
    above = 0.0 if island.grid_first else max(min(most, (total - grid_level) * outward), 0.0)
    _, _, _, dark, _, _ = serve(
        (ic, lc), island.essential_efficiency, (above, most), (share, grid_w, 0.0)
    )
    until = island.stop_frac * full - margin if engine else island.start_frac * full + margin
    ran = engine
    engine = (((level < until) & (present < 1.0)) | (dark > NOT_SUPPLIED_W)) & (rated_w > 0.0)
    engine_w = rated_w * (1.0 if ran else 1.0 - island.warm_up_h) if engine else 0.0
    x_c, y_c, b_c, lc, ic, paid = serve(
        (ic, lc), island.essential_efficiency, (0.0 if engine else above, most),
        (share, grid_w, engine_w),
    )
    paid_c += paid
    # nonessential board: with grid or generator by part of the hour, then by sun and store alone
    idle_h, load_h = island.nonessential_no_load_w, now[NONESSENTIAL]
    need, past = idle_h + load_h * (1.0 / island.nonessential_efficiency), idle_h + load_h
    left, at = sun - s_c, (total - b_c * per_out, ready - b_c * per_out * island.give)
    most_in, most = island.max_charge_w * scales[1] * now[CHARGE], most - b_c
    shed, band = island.shed_frac * full, island.band_frac * full + margin
    mains_first = island.grid_first | engine
    part, room = 1.0 if engine else share, room_for(island, full - at[0], most_in)
    one = share_by_level(
        (at[0], room, left), (margin, 0.0 if mains_first else most),
        part * need, shed if mains_first else max(shed, grid_level), (inward, outward),
    )
    one = part * one if part > 0.0 else 0.0
    x_h = min((share * (1.0 - one) if engine else share - one) * past, grid_w - x_c)
    x_h = x_h if share > 0.0 else 0.0
    y_h = min((1.0 - one) * past - x_h, engine_w - y_c)
    mains = (x_h + y_h) / max(past, TINY_W)
    s_h = min(left, one * need)
    b_h = one * need - s_h
    at = (at[0] - b_h * per_out, at[1] - b_h * per_out * island.give)
    rest = max(1.0 - one - mains, 0.0)
    two = rest * share_by_level(
        (at[0], room_for(island, full - at[0], most_in), left - s_h), (band, most - b_h),
        rest * need, shed, (inward, outward),
    )
    more = min(left - s_h, two * need)
    s_h += more
    b_two = two * need - more
    b_h, at = b_h + b_two, (at[0] - b_two * per_out, at[1] - b_two * per_out * island.give)
    fed = one + two
    # the store
    left = left - s_h
    room = room_for(island, full - at[0], most_in)
    s_in = min(left, room)
    to_level = max((grid_level - at[0]) * (1.0 / inward) - s_in, 0.0)
    offer = min(max(grid_w - x_c - x_h, 0.0), island.charger_w * share)
    x_in = min(min(offer * island.charger_efficiency, room - s_in), to_level)
    per = 1.0 / island.charger_efficiency
    offer = max(min(engine_w - y_c - y_h, island.charger_w - x_in * per), 0.0)
    y_in = min(offer * island.charger_efficiency, room - s_in - x_in)
    q1, q2 = charged(island, full, at, (s_in + x_in + y_in) * inward)
    fuel = island.idle_fuel_l + island.fuel_l_per_wh * max(y_c + y_h + y_in * per, island.least_w)
    return (
        (q1, q2, engine),
        (now[ESSENTIAL_ASKED] - (now[ESSENTIAL] - lc),
         now[NONESSENTIAL_ASKED] - load_h * min(fed + mains, 1.0),
         left - s_in, b_c + b_h, fuel if engine else 0.0, x_c + x_h + x_in * per),
        (s_c, b_c, x_c, y_c, s_h, b_h, x_h, y_h, s_in, x_in, y_in),
        (lost, paid_c, idle_h * fed, island.essential_no_load_w - ic + idle_h * (fed + mains), fed),
    )  # fmt: skip


@inlined
def ample_hour(island: Any, now: Any, scales: Any, state: Any, share: Any) -> Any:
    """`hour` where `slack` is above 0: both wells after it, and the first four of its sums.

    The bank serves all that the sun does not; nothing comes from grid or generator, though there
    is grid in a share of the hour.
    """
    full, sun = island.capacity_wh * scales[1], now[SUN] * scales[0]
    inward, per_out = island.charge_efficiency, 1.0 / island.discharge_efficiency
    _, total, ready = rested(island, full, state[0], state[1])
    s_c, _, ic, lc = from_source(
        sun, island.essential_no_load_w, now[ESSENTIAL], island.essential_efficiency
    )
    per, absent = 1.0 / island.essential_efficiency, 1.0 - share
    b_c = (share * ic + share * lc * per) + (absent * ic + absent * lc * per)
    load_h = now[NONESSENTIAL]
    need = island.nonessential_no_load_w + load_h * (1.0 / island.nonessential_efficiency)
    left, at = sun - s_c, (total - b_c * per_out, ready - b_c * per_out * island.give)
    most_in = island.max_charge_w * scales[1] * now[CHARGE]
    s_h = min(left, share * need)
    b_h = share * need - s_h
    at = (at[0] - b_h * per_out, at[1] - b_h * per_out * island.give)
    more = min(left - s_h, absent * need)
    b_two = absent * need - more
    at = (at[0] - b_two * per_out, at[1] - b_two * per_out * island.give)
    left = left - (s_h + more)
    s_in = min(left, room_for(island, full - at[0], most_in))
    return charged(island, full, at, s_in * inward), (
        now[ESSENTIAL_ASKED] - now[ESSENTIAL],
        now[NONESSENTIAL_ASKED] - load_h * min(share + absent, 1.0),
        left - s_in, b_c + (b_h + b_two),
    )  # fmt: skip


@inlined
def slack(island: Any, now: Any, state: Any, scale: Any, need: Any, least_frac: Any) -> Any:
    """By how much a bank has more than an hour may ask for in the dark [W or Wh], by the least.

    `need` is what both boards need at the bus [W], `least_frac` the charge above which the bank
    serves all of it. Above 0 a generator that stands stays off.
    """
    q1, q2 = state
    full, kept = island.capacity_wh * scale, 1.0 - island.self_discharge
    total = (q1 + q2) * kept
    ready = q1 * kept * island.keep + total * island.gain
    outward = island.discharge_efficiency
    drawn = min(total - island.floor_frac * full, ready * (1.0 / island.give))
    most = min(island.max_discharge_w * scale, drawn * outward)
    after = total - need * (1.0 / outward) - least_frac * full
    off = q1 + q2 - (island.start_frac + 3.0 * MARGIN_FRAC) * full
    return min(min(most * now[WORKS] - need, after), off)


@inlined
def all_bear(island: Any, now: Any, lanes: Any, need: Any, least_frac: Any) -> Any:
    """Whether every lane's bank has `slack` for the hour, with no generator running."""
    need *= 1.0 + MARGIN_FRAC
    least, running = 1.0, 0.0
    for i in range(LANES):
        running = max(running, lanes[2 * LANES + i])
        least = min(least, slack(island, now, (lanes[i], lanes[LANES + i]), lanes[BANK + i],
                                 need, least_frac))  # fmt: skip
    return least > 0.0 and running < 0.5


@inlined
def all_ample(island: Any, now: Any, lanes: Any, share: Any) -> Any:
    """Whether the bank of every lane has enough for the hour, with no generator running."""
    need = (island.essential_no_load_w + now[ESSENTIAL] * (1.0 / island.essential_efficiency)
            + island.nonessential_no_load_w
            + now[NONESSENTIAL] * (1.0 / island.nonessential_efficiency))  # fmt: skip
    level = max(island.shed_frac, island.grid_frac if share > 0.0 else 0.0)
    bear = all_bear(island, now, lanes, need, level + island.band_frac + 3.0 * MARGIN_FRAC)
    return bear and not (share > 0.0 and island.grid_first)


@inlined
def none_starts(island: Any, now: Any, lanes: Any) -> Any:
    """Whether no generator runs in the hour: neither charge nor the essential board starts one."""
    need = island.essential_no_load_w + now[ESSENTIAL] * (1.0 / island.essential_efficiency)
    return all_bear(island, now, lanes, need, island.floor_frac)


@inlined
def line_at(series: Any, h: Any) -> Any:
    """The hour's line of the series as a tuple."""
    return (series[h, 0], series[h, 1], series[h, 2], series[h, 3], series[h, 4], series[h, 5],
            series[h, 6], series[h, 7], series[h, 8])  # fmt: skip


@compiled(in_order=True, inner=True)
def write_down(island: Any, now: Any, done: Any, before: Any, sun: Any, row: Any) -> None:
    """Fill a row of flows, in the order of `solarcalc.supply.run.FLOWS`."""
    state, sums, flows, rest = done
    s_c, b_c, x_c, y_c, s_h, b_h, x_h, y_h, s_in, x_in, y_in = flows
    lost, paid_c, paid_h, idle, fed = rest
    charge, discharge, per = s_in + x_in + y_in, b_c + b_h, 1.0 / island.charger_efficiency
    row[0], row[1], row[2] = sun, s_c + s_h + s_in, sums[2]
    row[3], row[4] = now[ESSENTIAL_ASKED], now[ESSENTIAL_ASKED] - sums[0]
    row[6], row[7] = now[NONESSENTIAL_ASKED], now[NONESSENTIAL_ASKED] - sums[1]
    row[5], row[8] = s_c + b_c, s_h + b_h
    row[9], row[10], row[11] = x_c, x_h, x_in * per
    row[12], row[13], row[14], row[15] = y_c, y_h, y_in * per, sums[4]
    row[16], row[17] = charge, discharge
    row[18] = (
        idle
        + (s_c + b_c - paid_c) * (1.0 - island.essential_efficiency)
        + (s_h + b_h - paid_h) * (1.0 - island.nonessential_efficiency)
    )
    row[19] = (x_in + y_in) * (per - 1.0)
    row[20] = charge * (1.0 - island.charge_efficiency)
    row[20] += discharge * (1.0 / island.discharge_efficiency - 1.0)
    row[21], row[22], row[23], row[24] = lost, before[0], before[1], before[0] + before[1]
    row[25], row[26] = fed, 1.0 if state[2] else 0.0


@compiled(in_order=True)
def written_year(island: Any, series: Any, start: Any, taken: Any, out: Any) -> Any:
    """Run once through the hours from a state and write them down, (n, flows); the last state."""
    state = (start[0], start[1], start[2] > 0.5)
    for h in range(len(series)):
        now = line_at(series, h)
        done = hour(island, now, (1.0, 1.0), state, taken[h], island.generator_w)
        write_down(island, now, done, state, now[SUN], out[h])
        state = done[0]
    return state[0], state[1], 1.0 if state[2] else 0.0


@inlined
def add_up(lanes: Any, i: Any, parts: Any) -> None:
    """Add what an hour has of the first six sums."""
    lanes[3 * LANES + i] += 1.0 if parts[0] > NOT_SUPPLIED_W else 0.0
    lanes[4 * LANES + i] += 1.0 if parts[1] > NOT_SUPPLIED_W else 0.0
    lanes[5 * LANES + i] += parts[0]
    lanes[6 * LANES + i] += parts[1]
    lanes[7 * LANES + i] += parts[2]
    lanes[8 * LANES + i] += parts[3]


@inlined
def each_moves(island: Any, now: Any, lanes: Any, grid: Any, engine: Any) -> None:
    """`hour` of every lane; none has a generator that runs or starts where `engine` is None."""
    for i in range(LANES):
        runs = False if engine is None else lanes[2 * LANES + i] > 0.5
        rated_w = 0.0 if engine is None else island.generator_w
        taken = 0.0 if grid is None else lanes[TAKEN + i]
        were, scales = (lanes[i], lanes[LANES + i], runs), (lanes[ARRAY + i], lanes[BANK + i])
        are, more, _, _ = hour(island, now, scales, were, taken, rated_w)
        lanes[i], lanes[LANES + i] = are[0], are[1]
        add_up(lanes, i, more)
        lanes[11 * LANES + i] += more[5]
        if engine is not None:
            lanes[2 * LANES + i] = 1.0 if are[2] else 0.0
            lanes[9 * LANES + i] += lanes[2 * LANES + i]
            lanes[10 * LANES + i] += more[4]
        if grid is not None:
            lanes[USED + i] = more[5]


@compiled(in_order=True)
def run_lanes(
    first: Any, last: Any, island: Any, series: Any, lanes: Any, mains: Any, grid: Any, suns: Any
) -> None:  # fmt: skip
    """Move all lanes through the hours.

    `lanes` holds LANES values each of wells, generator, sums, grid power taken by others and here,
    scales of array and bank: one flat array, in which no two overlap. `mains` says for which
    sources machine code is made. `grid` is (2, n, LANES): what others take in each hour, and what
    is taken here; None where nobody else takes any. `suns` is (n, LANES), what the sun of the
    series is multiplied with in each hour, where each lane has a sun of its own; else None.
    """
    for h in range(first, last):
        now = line_at(series, h)
        if mains.grid is None:
            now = (now[0], now[1], now[2], 0.0, 0.0, now[5], now[6], now[7], now[8])
        if suns is not None:  # many years: worth more machine code
            for i in range(LANES):
                lanes[ARRAY + i] = suns[h, i]
            share = now[PRESENT] if now[GRID_W] > 0.0 else 0.0
            if all_ample(island, now, lanes, share):
                for i in range(LANES):
                    scales = (lanes[ARRAY + i], lanes[BANK + i])
                    wells, parts = ample_hour(
                        island, now, scales, (lanes[i], lanes[LANES + i]), share
                    )
                    lanes[i], lanes[LANES + i] = wells
                    add_up(lanes, i, parts)
                continue
            if mains.engine is not None and none_starts(island, now, lanes):
                each_moves(island, now, lanes, None, None)
                continue
        if grid is not None:
            for i in range(LANES):
                lanes[TAKEN + i] = grid[0, h, i]
        each_moves(island, now, lanes, grid, mains.engine)
        if grid is not None:
            for i in range(LANES):
                grid[1, h, i] = lanes[USED + i]


@compiled(in_order=True, inner=True)
def closed_years(
    island: Any, series: Any, lanes: Any, marks: Any, mains: Any, grid: Any, suns: Any, result: Any
) -> None:
    """Sums of the years that end as they began, (sums, LANES).

    Each is run from a full bank, then from its own end until it meets the year before it at one
    of the marks, (blocks, kept of lanes); from there on both are the same.
    """
    kept, kinds = marks.shape[1], len(SUMS)
    still_open = np.ones(LANES, np.bool_)
    for i in range(LANES):
        full = island.capacity_wh * lanes[BANK + i]
        lanes[i], lanes[LANES + i] = island.first_frac * full, (1.0 - island.first_frac) * full
        lanes[2 * LANES + i] = 0.0
    for year in range(MOST_YEARS_ENGINE if island.generator_w > 0.0 else MOST_YEARS):
        lanes[STATE * LANES : kept] = 0.0
        for block in range(len(marks)):
            mark = marks[block]
            for i in range(LANES):
                if year > 0 and still_open[i] and met(lanes, mark, i, island.capacity_wh):
                    still_open[i] = False
                    for k in range(kinds):
                        at = (STATE + k) * LANES + i
                        result[k, i] += lanes[at] - mark[at]
            if year > 0 and not still_open.any():
                return
            for k in range(kept):  # a slice would compile words for unlike shapes
                mark[k] = lanes[k]
            last = min((block + 1) * BLOCK, len(series))
            run_lanes(block * BLOCK, last, island, series, lanes, mains, grid, suns)
        for i in range(LANES):
            for k in range(kinds):
                if still_open[i]:
                    result[k, i] = lanes[(STATE + k) * LANES + i]


@compiled(in_order=True, inner=True)
def met(lanes: Any, mark: Any, i: Any, capacity_wh: Any) -> Any:
    """Whether a lane is where the mark has it, but for a trifle of charge."""
    near = abs(lanes[i] - mark[i]) + abs(lanes[LANES + i] - mark[LANES + i])
    alike = lanes[2 * LANES + i] == mark[2 * LANES + i]
    return alike and near <= MET_FRAC * capacity_wh * lanes[BANK + i]


@compiled(in_order=True)
def pairs(
    first: Any, last: Any, islands: Any, series: Any, scales: Any, mains: Any, grid: Any,
    results: Any,
) -> None:  # fmt: skip
    """Closed years of pairs of array and bank scale, (p, 2), into (p, sums).

    Of two islands the grid serves the first before the second. The last lanes repeat the last pair
    where the pairs do not fill them. `mains` is as in `run_lanes`, `grid` None for one island.
    """
    n, kinds = len(series[0]), len(SUMS)
    lanes, one = np.empty((STATE + 4 + kinds) * LANES), np.empty((kinds, LANES))
    marks = np.empty(((n + BLOCK - 1) // BLOCK, (STATE + kinds) * LANES))
    for start in range(first, last, LANES):
        for i in range(LANES):
            lanes[ARRAY + i], lanes[BANK + i] = scales[min(start + i, last - 1)]
        results[start : min(start + LANES, last)] = 0.0
        if grid is not None:
            grid[0] = 0.0
        for at in range(len(series)):
            closed_years(islands[at], series[at], lanes, marks, mains, grid, None, one)
            for i in range(min(LANES, last - start)):
                for k in range(kinds):
                    results[start + i, k] += one[k, i]
            if grid is not None:
                for hour_and_lane in np.ndindex(grid[0].shape):
                    grid[0][hour_and_lane] = grid[1][hour_and_lane]


@compiled(in_order=True)
def suns_of(
    first: Any, last: Any, jobs: Any, light: Any, kept: Any, added: Any, lit: Any, suns: Any
) -> None:
    """Sun at the bus of as many jobs as there are lanes, (n, LANES) [W]; the last one repeated."""
    for i in range(LANES):
        job = min(first + i, last - 1)
        of, by, more = light[jobs.light[job]], kept[jobs.kept[job]], added[jobs.added[job]]
        watts, limit_w = jobs.watts[job], jobs.limit_w[job]
        for at in range(len(lit)):
            suns[lit[at], i] = min(watts * (of[at] * by[at]), limit_w) + more[at]


@compiled(in_order=True)
def own_suns(
    first: Any, last: Any, island: Any, series: Any, jobs: Any, light: Any, kept: Any, added: Any,
    lit: Any, mains: Any, results: Any,
) -> None:  # fmt: skip
    """Closed years of systems with a sun of their own each, into (j, sums and sun [Wh]).

    `light` (m, l) is power over rated power in the hours with light, `kept` (k, l) what is left
    of it, `added` (a, l) what comes to the bus beside it [W], `lit` (l,) the places of those
    hours. The sun of the series must be 1 in every hour. `jobs` are `solarcalc.supply.jobs.Jobs`.
    `mains` is as `run_lanes` has it.
    """
    n, kinds = len(series), len(SUMS)
    lanes, one = np.empty((STATE + 4 + kinds) * LANES), np.empty((kinds, LANES))
    marks = np.empty(((n + BLOCK - 1) // BLOCK, (STATE + kinds) * LANES))
    suns = np.zeros((n, LANES))
    for start in range(first, last, LANES):
        suns_of(start, last, jobs, light, kept, added, lit, suns)
        for i in range(LANES):
            lanes[BANK + i] = jobs.bank[min(start + i, last - 1)]
        one[:] = 0.0
        closed_years(island, series, lanes, marks, mains, None, suns, one)
        for i in range(min(LANES, last - start)):
            for k in range(kinds):
                results[start + i, k] = one[k, i]
            results[start + i, kinds] = suns[:, i].sum()
