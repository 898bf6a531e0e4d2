"""The rules of supply as a plain hour loop, written apart from the package's compiled one.

Plain numbers and lists, branches where they save work: what one would write without a compiler.
Tests hold both against each other; the benchmark measures both.
"""

from __future__ import annotations

import math

DARK_W = 0.5


class Bank:
    """Two wells of energy and what limits them, at a size."""

    def __init__(self, bank, size=1.0):
        self.full = bank.capacity_wh * size
        self.c = bank.available_frac
        k = bank.exchange_per_h if self.c < 1.0 else 1.0
        self.e = math.exp(-k)
        self.ramp = (1.0 - self.e) / k
        self.lag = (k - 1.0 + self.e) / k
        self.k = k
        self.per_draw = self.ramp + self.c * self.lag
        self.eta_in, self.eta_out = bank.charge_efficiency_frac, bank.discharge_efficiency_frac
        self.most_in, self.most_out = bank.max_charge_w * size, bank.max_discharge_w * size
        self.taper = 1.0 - math.exp(-bank.acceptance_per_h)
        self.leak = bank.self_discharge_frac_per_h
        reserve = bank.min_soc_frac
        kept = bank.capacity_factor.tolist()
        self.floor = [self.full * (1.0 - f * (1.0 - reserve)) for f in kept]
        self.charge = bank.charge_factor.tolist()


def idle_first(power, idle, load, eta):
    """Idle draw and load left after a power at the bus."""
    if power >= idle + load / eta:
        return 0.0, 0.0
    if power <= idle:
        return idle - power, load
    return 0.0, load - (power - idle) * eta


def run_year(bank, sun, capped, boards, levels, plan, grid, engine, start):
    """One pass: a list of (critical, heavy served, spilled, discharge, charge, fuel, grid, engine
    on, stored before) and the state after it. `start` is wells, heavy on, engine on."""
    q1, q2, nonessential_on, engine_on = start
    full, off, on = bank.full, levels[0] * bank.full, levels[1] * bank.full
    margin = 1e-9 * full
    below = 0.0 if grid is None else grid.charge_below_frac * full
    (eta_c, idle_c), (eta_h, idle_h) = boards
    grid_first, eta_ac, charger_w = plan
    rows = []
    for h in range(len(sun)):
        level = q1 + q2
        nonessential_on = level > off + margin if nonessential_on else level > on - margin
        present = grid_w = 0.0
        if grid is not None:
            present = grid.present_frac[h]
            grid_w = max(grid.limit_w * present - grid.taken[h], 0.0)
        low = grid_w > 0.0 and level < below - margin
        q1 -= q1 * bank.leak
        total = level - level * bank.leak
        relaxed = q1 * bank.e + total * bank.k * bank.c * bank.ramp
        most = min(total - bank.floor[h], relaxed / bank.per_draw) * bank.eta_out
        most = max(min(most, bank.most_out), 0.0)
        if engine is not None:
            engine_on = level < (engine.stop_frac * full - margin if engine_on
                                 else engine.start_frac * full + margin)  # fmt: skip
            engine_on = engine_on and present < 1.0
        light, essential, nonessential = sun[h], capped[0][h], capped[1][h]
        while True:
            first = grid_first or low or engine_on
            from_grid = from_engine = 0.0
            engine_w = engine.power_w if engine_on else 0.0
            # critical
            used = min(light, idle_c + essential / eta_c)
            idle, load = idle_first(light, idle_c, essential, eta_c)
            want = min(present * (idle + load), grid_w)
            if first:
                from_grid = min(want, idle + load)
                idle, load = idle_first(want, idle, load, 1.0)
                from_engine = min(engine_w, idle + load)
                idle, load = idle_first(engine_w, idle, load, 1.0)
            store = min(most, idle + load / eta_c)
            idle, load = idle_first(most, idle, load, eta_c)
            if not first:
                from_grid = min(want, idle + load)
                idle, load = idle_first(want, idle, load, 1.0)
            if engine is None or engine_on or load <= DARK_W:
                break
            engine_on = True
        served_c = essential - load
        # heavy
        served_h = 0.0
        part = 1.0 if nonessential_on or engine_on else (present if grid_w > 0.0 else 0.0)
        if part > 0.0:
            idle, load = idle_h * part, nonessential * part
            left = light - used
            used += min(left, idle + load / eta_h)
            idle, load = idle_first(left, idle, load, eta_h)
            share = present if nonessential_on or engine_on else 1.0
            want = min(share * (idle + load), grid_w - from_grid)
            if first:
                from_grid += min(want, idle + load)
                idle, load = idle_first(want, idle, load, 1.0)
                offer = engine_w - from_engine
                from_engine += min(offer, idle + load)
                idle, load = idle_first(offer, idle, load, 1.0)
            if nonessential_on:
                offer = min(most, max((total - off) * bank.eta_out, 0.0)) - store
                offer = max(min(offer, most - store), 0.0)
                store += min(offer, idle + load / eta_h)
                idle, load = idle_first(offer, idle, load, eta_h)
            if not first:
                from_grid += min(want, idle + load)
                idle, load = idle_first(want, idle, load, 1.0)
            served_h = nonessential * part - load
        # the store
        sun_in = grid_in = engine_in = 0.0
        if store <= 0.0:
            room = bank.taper * (full - total) / bank.eta_in
            room = max(min(room, bank.most_in * bank.charge[h]), 0.0)
            sun_in = min(light - used, room)
            if low:
                grid_in = min((grid_w - from_grid) * eta_ac, charger_w * eta_ac, room - sun_in,
                              max((below - total) / bank.eta_in - sun_in, 0.0))  # fmt: skip
                grid_in = max(grid_in, 0.0)
            if engine_on:
                engine_in = min((engine_w - from_engine) * eta_ac, charger_w * eta_ac - grid_in,
                                room - sun_in - grid_in)  # fmt: skip
        charge = sun_in + grid_in + engine_in
        if charge > 0.0:  # into each well by what it lacks
            put, lack_1, lack_2 = charge * bank.eta_in, bank.c * full - relaxed, full - total
            q1, q2 = relaxed + put * lack_1 / lack_2, total - relaxed
            q2 += put * (lack_2 - lack_1) / lack_2
        else:
            d = store / bank.eta_out
            q1 = relaxed - d * bank.ramp - d * bank.c * bank.lag
            q2 = total - d - q1
        fuel = 0.0
        if engine_on:
            out_w = max(from_engine + engine_in / eta_ac, engine.least_load_frac * engine.power_w)
            fuel = engine.idle_fuel_l_per_h + engine.fuel_l_per_kwh * out_w / 1000.0
        bought = from_grid + grid_in / eta_ac
        rows.append((served_c, served_h, light - used - sun_in, store, charge, fuel, bought,
                     engine_on, level))  # fmt: skip
    return rows, (q1, q2, nonessential_on, engine_on)
