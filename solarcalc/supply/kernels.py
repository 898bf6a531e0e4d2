"""The compiled hour loop of supply: one bank and its boards, an hour at a time.

All of it stands in this one file, since the kept machine code is checked against the file of
each function alone. Powers are means over the hour [W], energies in [Wh], all in double
precision. Sums stay in order, so that nothing depends on how many threads share the work. No
value may be infinite. `hour` has choices but no branches, so that the compiler can work on
several systems at once; it is the one place where the rules of an hour stand.

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

from solarcalc.sweep.compiled import IN_ORDER, compiled

Function = TypeVar("Function", bound=Callable[..., object])


def inlined(function: Function) -> Function:
    """Compile a part that becomes one with the loop that calls it, which is kept on disk."""
    choice: Any = {"nogil": True, "fastmath": IN_ORDER, "forceinline": True}
    return cast(Function, numba.njit(error_model="numpy", **choice)(function))


DARK_W = 0.5
"""A board short of less than this is taken as served: rounding, not darkness [W]."""
MARGIN_FRAC = 1e-9
"""Charge this close to a level counts as at it: rounding must not decide."""
BLOCK = 72
"""Hours between the marks at which a year may meet the one before it."""
LANES = 16
"""Pairs worked on together, hour by hour: the processor's vector registers hold a few each."""
MOST_YEARS = 40
"""Years a bank may take to close; one that gains or loses a little each year takes many."""
MOST_YEARS_ENGINE = 6
"""The same with a generator: it sets the bank back often, and where the sun does not it may go
on in a rhythm of its own that no year closes."""
MET_FRAC = 1e-7
"""Difference of charge, of the capacity, at which two years have met."""
(SUN, ESSENTIAL, NONESSENTIAL, PRESENT, GRID_W, FLOOR, CHARGE, ESSENTIAL_ASKED,
 NONESSENTIAL_ASKED) = range(9)
"""Columns of the series: sun at the bus [W], what the inverters can serve of both loads [W],
share of the hour with grid, the most it gives as a mean [W], charge below which nothing is
drawn and share of the charge limit that holds, then both loads [W]."""
SUMS = (
    "essential_dark_h", "nonessential_dark_h", "essential_unserved_wh", "nonessential_unserved_wh",
    "spilled_wh",
    "throughput_wh", "generator_h", "fuel_l", "grid_wh",
)  # fmt: skip
"""What a year adds up to."""
TAKEN, USED, ARRAY, BANK = (LANES * (4 + len(SUMS) + i) for i in range(4))
"""Where in the lanes stand grid power taken by others and here, scales of array and bank."""
FLOWS = (
    "solar_w", "solar_used_w", "solar_spilled_w",
    "essential_load_w", "essential_served_w", "essential_drawn_w",
    "nonessential_load_w", "nonessential_served_w", "nonessential_drawn_w",
    "grid_to_essential_w", "grid_to_nonessential_w", "grid_to_charge_w",
    "generator_to_essential_w", "generator_to_nonessential_w", "generator_to_charge_w", "fuel_l",
    "charge_w", "discharge_w", "inverter_loss_w", "charger_loss_w", "battery_loss_w",
    "self_discharge_w", "available_wh", "bound_wh", "stored_wh", "nonessential_on", "generator_on",
)  # fmt: skip
"""What an hour is written down as; wells and switches stand as at the hour's start, but for the
generator, which stands as it ran."""


class Island(NamedTuple):
    """One bank and what hangs on it; capacity and limits are those at a scale of 1.

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
    off_frac: float
    on_frac: float
    essential_efficiency: float
    essential_no_load_w: float
    nonessential_efficiency: float
    nonessential_no_load_w: float
    grid_first: bool
    charge_below_frac: float
    charger_efficiency: float
    charger_w: float
    generator_w: float
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
    """One board's hour after the sun: grid and generator, then store, or store and then grid.

    `mains` is the offer of the grid, that of the generator, and whether they come first, as they
    do whenever the generator runs. Gives what comes from grid, generator and store, load left,
    idle draw left, idle draw paid from the store.
    """
    grid, engine_w, first = mains
    idle, load = need
    both = grid + engine_w
    one, paid_one, idle, load = from_source(
        both if first else store, idle, load, 1.0 if first else efficiency
    )
    two, paid_two, idle, load = from_source(
        store if first else both, idle, load, efficiency if first else 1.0
    )
    taken = one if first else two
    x = min(taken, grid)
    stored, paid = two if first else one, paid_two if first else paid_one
    return x, taken - x, stored, load, idle, paid


@inlined
def hour(island: Any, now: Any, scales: Any, state: Any, taken: Any, rated_w: Any) -> Any:
    """One hour: the state after it, what it adds to the sums, and the flows behind them.

    `now` is the hour's line of the series, `scales` those of array and bank, `state` both wells,
    nonessential board on, generator on, `taken` the grid power that others have, `rated_w` the
    generator's rating. Where grid and generator are constants of 0, so is all that hangs on them.
    """
    q1, q2, on, engine = state
    full, sun = island.capacity_wh * scales[1], now[SUN] * scales[0]
    inward, outward = island.charge_efficiency, island.discharge_efficiency
    margin, level = MARGIN_FRAC * full, q1 + q2
    on = level > (island.off_frac * full + margin if on else island.on_frac * full - margin)
    present, grid_w = now[PRESENT], max(now[GRID_W] - taken, 0.0)
    low = (level < island.charge_below_frac * full - margin) & (grid_w > 0.0)
    total = level - level * island.self_discharge
    ready = (q1 - q1 * island.self_discharge) * island.keep + total * island.gain
    above = min(total - now[FLOOR] * full, ready * (1.0 / island.give)) * outward
    most = max(min(island.max_discharge_w * scales[1], above), 0.0)
    most_nonessential = max(min(most, (total - island.off_frac * full) * outward), 0.0)
    most_nonessential = most_nonessential if on else 0.0  # both boards together
    # essential board: sun, then is the generator wanted, then the rest
    s_c, paid_c, ic, lc = from_source(
        sun, island.essential_no_load_w, now[ESSENTIAL], island.essential_efficiency
    )
    offer = min(present * (ic + lc), grid_w)
    first = low | island.grid_first
    until = island.stop_frac * full - margin if engine else island.start_frac * full + margin
    _, _, _, dark, _, _ = serve((ic, lc), island.essential_efficiency, most, (offer, 0.0, first))
    engine = (((level < until) & (present < 1.0)) | (dark > DARK_W)) & (rated_w > 0.0)
    engine_w = rated_w if engine else 0.0
    first = first | engine
    x_c, y_c, b_c, lc, ic, paid = serve(
        (ic, lc), island.essential_efficiency, most, (offer, engine_w, first)
    )
    paid_c += paid
    # nonessential board: connected, or shed and fed by grid or generator alone
    fed = 1.0 if on | engine else (present if grid_w > 0.0 else 0.0)
    idle_h, load_h = island.nonessential_no_load_w * fed, now[NONESSENTIAL] * fed
    s_h, paid_h, ih, lh = from_source(sun - s_c, idle_h, load_h, island.nonessential_efficiency)
    offer = min((present if on | engine else 1.0) * (ih + lh), grid_w - x_c)
    x_h, y_h, b_h, lh, ih, paid = serve(
        (ih, lh), island.nonessential_efficiency, max(most_nonessential - b_c, 0.0),
        (offer, engine_w - y_c, first),
    )
    paid_h += paid
    # the store
    discharge, left = b_c + b_h, sun - s_c - s_h
    missing = full - total
    room = island.accepted_frac * missing * (1.0 / inward)
    room = max(min(room, island.max_charge_w * scales[1] * now[CHARGE]), 0.0)
    room = room if discharge <= 0.0 else 0.0
    s_in = min(left, room)
    to_level = max((island.charge_below_frac * full - total) * (1.0 / inward) - s_in, 0.0)
    offer = min(max(grid_w - x_c - x_h, 0.0), island.charger_w) * island.charger_efficiency
    x_in = min(min(offer, room - s_in), to_level if low else 0.0)
    most_in = island.charger_w * island.charger_efficiency - x_in
    offer = max(engine_w - y_c - y_h, 0.0) * island.charger_efficiency
    y_in = min(min(offer, most_in), room - s_in - x_in)
    drawn, put = discharge * (1.0 / outward), (s_in + x_in + y_in) * inward
    filled = put / max(missing, margin)  # of what each well lacks
    q1 = ready + (island.first_frac * full - ready) * filled - island.give * drawn
    q2 = (total + put - drawn) - q1
    mains_y = y_c + y_h + y_in * (1.0 / island.charger_efficiency)
    fuel = island.idle_fuel_l + island.fuel_l_per_wh * max(mains_y, island.least_w)
    return (
        (q1, q2, on, engine),
        (now[ESSENTIAL_ASKED] - (now[ESSENTIAL] - lc), now[NONESSENTIAL_ASKED] - (load_h - lh),
         left - s_in, discharge, fuel if engine else 0.0,
         x_c + x_h + x_in * (1.0 / island.charger_efficiency)),
        (s_c, b_c, x_c, y_c, s_h, b_h, x_h, y_h, s_in, x_in, y_in),
        (level - total, paid_c, paid_h, island.essential_no_load_w - ic + idle_h - ih),
    )  # fmt: skip


@inlined
def line_at(series: Any, h: Any) -> Any:
    """The hour's line of the series as a tuple."""
    return (series[h, 0], series[h, 1], series[h, 2], series[h, 3], series[h, 4], series[h, 5],
            series[h, 6], series[h, 7], series[h, 8])  # fmt: skip


@compiled(in_order=True)
def write_down(island: Any, now: Any, done: Any, before: Any, sun: Any, row: Any) -> None:
    """Fill a row of flows, in the order of `FLOWS`."""
    state, sums, flows, rest = done
    s_c, b_c, x_c, y_c, s_h, b_h, x_h, y_h, s_in, x_in, y_in = flows
    lost, paid_c, paid_h, idle = rest
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
    row[25], row[26] = 1.0 if state[2] else 0.0, 1.0 if state[3] else 0.0


@compiled(in_order=True)
def written_year(island: Any, series: Any, start: Any, taken: Any, out: Any) -> Any:
    """Run once through the hours from a state and write them down, (n, flows); the last state."""
    state = (start[0], start[1], start[2] > 0.5, start[3] > 0.5)
    for h in range(len(series)):
        now = line_at(series, h)
        done = hour(island, now, (1.0, 1.0), state, taken[h], island.generator_w)
        write_down(island, now, done, state, now[SUN], out[h])
        state = done[0]
    return state[0], state[1], 1.0 if state[2] else 0.0, 1.0 if state[3] else 0.0


@compiled(in_order=True)
def run_lanes(first: Any, last: Any, island: Any, series: Any, lanes: Any, grid: Any) -> None:
    """Move all lanes through the hours.

    `lanes` holds LANES values each of wells, switches, sums, grid power taken by others and
    here, scales of array and bank: one flat array, so that the compiler sees that no two of them
    overlap. `grid` is (2, n, LANES): what others take in each hour, and what is taken here; None
    where there is neither grid nor generator, for which shorter machine code is made.
    """
    for h in range(first, last):
        now = line_at(series, h)
        if grid is None:
            now = (now[0], now[1], now[2], 0.0, 0.0, now[5], now[6], now[7], now[8])
        else:
            for i in range(LANES):
                lanes[TAKEN + i] = grid[0, h, i]
        for i in range(LANES):
            were = (lanes[i], lanes[LANES + i], lanes[2 * LANES + i] > 0.5,
                    lanes[3 * LANES + i] > 0.5)  # fmt: skip
            scales = (lanes[ARRAY + i], lanes[BANK + i])
            taken = 0.0 if grid is None else lanes[TAKEN + i]
            rated_w = 0.0 if grid is None else island.generator_w
            are, more, _, _ = hour(island, now, scales, were, taken, rated_w)
            runs = 1.0 if are[3] else 0.0
            lanes[i], lanes[LANES + i] = are[0], are[1]
            lanes[2 * LANES + i], lanes[3 * LANES + i] = 1.0 if are[2] else 0.0, runs
            lanes[4 * LANES + i] += 1.0 if more[0] > DARK_W else 0.0
            lanes[5 * LANES + i] += 1.0 if more[1] > DARK_W else 0.0
            lanes[6 * LANES + i] += more[0]
            lanes[7 * LANES + i] += more[1]
            lanes[8 * LANES + i] += more[2]
            lanes[9 * LANES + i] += more[3]
            lanes[10 * LANES + i] += runs
            lanes[11 * LANES + i] += more[4]
            lanes[12 * LANES + i] += more[5]
            lanes[USED + i] = more[5]
        if grid is not None:
            for i in range(LANES):
                grid[1, h, i] = lanes[USED + i]


@compiled(in_order=True)
def closed_years(
    island: Any, series: Any, lanes: Any, marks: Any, grid: Any, result: Any
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
        lanes[2 * LANES + i], lanes[3 * LANES + i] = 1.0, 0.0
    most = MOST_YEARS_ENGINE if island.generator_w > 0.0 else MOST_YEARS
    for year in range(most):
        lanes[4 * LANES : kept] = 0.0
        for block in range(len(marks)):
            mark = marks[block]
            for i in range(LANES):
                if year > 0 and still_open[i] and met(lanes, mark, i, island.capacity_wh):
                    still_open[i] = False
                    for k in range(kinds):
                        at = (4 + k) * LANES + i
                        result[k, i] += lanes[at] - mark[at]
            if year > 0 and not still_open.any():
                return
            mark[:] = lanes[:kept]
            last = min((block + 1) * BLOCK, len(series))
            run_lanes(block * BLOCK, last, island, series, lanes, grid)
        for i in range(LANES):
            for k in range(kinds):
                if still_open[i]:
                    result[k, i] = lanes[(4 + k) * LANES + i]


@compiled(in_order=True)
def met(lanes: Any, mark: Any, i: Any, capacity_wh: Any) -> Any:
    """Whether a lane is where the mark has it, but for a trifle of charge."""
    near = abs(lanes[i] - mark[i]) + abs(lanes[LANES + i] - mark[LANES + i])
    alike = lanes[2 * LANES + i] == mark[2 * LANES + i]
    alike = alike and lanes[3 * LANES + i] == mark[3 * LANES + i]
    return alike and near <= MET_FRAC * capacity_wh * lanes[BANK + i]


@compiled(in_order=True)
def pairs(
    first: Any, last: Any, islands: Any, series: Any, scales: Any, grid: Any, results: Any
) -> None:
    """Closed years of pairs of array and bank scale, (p, 2), into (p, sums).

    Where there are two islands the grid serves the first before the second; both scales hold
    for both. The last lanes repeat the last pair where the pairs do not fill them. `grid` is
    room for `run_lanes`, or None.
    """
    n, kinds = len(series[0]), len(SUMS)
    lanes, one = np.empty((8 + kinds) * LANES), np.empty((kinds, LANES))
    marks = np.empty(((n + BLOCK - 1) // BLOCK, (4 + kinds) * LANES))
    for start in range(first, last, LANES):
        for i in range(LANES):
            lanes[ARRAY + i], lanes[BANK + i] = scales[min(start + i, last - 1)]
        results[start : min(start + LANES, last)] = 0.0
        if grid is not None:
            grid[0] = 0.0
        for at in range(len(series)):
            closed_years(islands[at], series[at], lanes, marks, grid, one)
            for i in range(min(LANES, last - start)):
                results[start + i] += one[:, i]
            if grid is not None:
                grid[0] = grid[1]
