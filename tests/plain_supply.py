"""The rules of supply as a plain hour loop, written apart from the package's compiled one.

Plain numbers and lists, branches where they save work: what one would write without a compiler.
Tests hold both against each other; the benchmark measures both.
"""

from __future__ import annotations

import math

NOT_SUPPLIED_W = 0.5


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
        kept = bank.capacity_factor.tolist()
        days = min(720, len(kept))
        longer = kept + kept[: days - 1]
        self.cold = max(min(sum(longer[i : i + days]) for i in range(len(kept))) / days, 1e-6)
        self.floor = self.level(bank.min_soc_frac)
        self.works = [1.0 if share > 0.0 else 0.0 for share in kept]
        self.charge = bank.charge_factor.tolist()

    def level(self, soc):
        """Charge at a level of the site file, moved by the cold."""
        return self.full * (1.0 - max(self.cold, 1e-6) * (1.0 - soc))

    def room(self, total, most_in):
        """Most that the hour can charge, at the terminals."""
        return max(min(self.taper * (self.full - total) / self.eta_in, most_in), 0.0)


def idle_first(power, idle, load, eta):
    """Idle draw and load left after a power at the bus."""
    if power >= idle + load / eta:
        return 0.0, 0.0
    if power <= idle:
        return idle - power, load
    return 0.0, load - (power - idle) * eta


def fed_share(bank, total, room, sun, most, need, level, band):
    """Share of a draw that leaves the hour's end as far above `level` as it is of the band."""
    idle_end = total + bank.eta_in * min(room, sun)
    spare = max(sun - room, 0.0)
    if idle_end <= level:  # below it, what the bank does not take in
        return min(spare / max(need, 1e-9), 1.0)
    if need <= spare and idle_end >= level + band:
        share = 1.0
    else:
        share = (idle_end - level) / band
        if share * need <= spare:
            share = spare / max(need, 1e-9)
        else:  # some sun that would have been charged
            share = (total + bank.eta_in * sun - level) / (band + bank.eta_in * need)
            if share * need > sun:  # the store gives
                share = (total + sun / bank.eta_out - level) / (band + need / bank.eta_out)
        share = min(share, 1.0)
    return min(share, (sun + most) / max(need, 1e-9))


def run_year(bank, sun, capped, boards, levels, plan, grid, engine, start):
    """One pass: a list of (essential, nonessential served, thrown away, discharge, charge, fuel,
    grid, engine on, stored before) and the state after it. `start` is wells, engine on."""
    q1, q2, engine_on = start
    full = bank.full
    margin = 1e-9 * full
    shed, band = bank.level(levels[0]), bank.level(levels[1]) - bank.level(levels[0]) + margin
    below = 0.0
    if grid is not None and grid.charge_below_frac > 0.0:
        below = bank.level(grid.charge_below_frac)
    start_at, stop_at = 0.0, 0.0
    if engine is not None:
        start_at, stop_at = bank.level(engine.start_frac), bank.level(engine.stop_frac)
    (eta_c, idle_c), (eta_h, idle_h) = boards
    grid_first, eta_ac, charger_w = plan
    leak = min(bank.leak / max(1.0 - bank.floor / full, 1e-6), 1.0)
    rows = []
    for h in range(len(sun)):
        level = q1 + q2
        present = grid_w = 0.0
        if grid is not None:
            grid_w = max(grid.limit_w * grid.present_frac[h] - grid.taken[h], 0.0)
            present = grid.present_frac[h] if grid_w > 0.0 else 0.0
        lost = leak * max(level - bank.floor, 0.0)
        total = level - lost
        if lost > 0.0:
            q1 -= q1 * lost / level
        ready = q1 * bank.e + total * bank.k * bank.c * bank.ramp
        most = min(total - bank.floor, ready / bank.per_draw) * bank.eta_out
        most = max(min(most, bank.most_out), 0.0) * bank.works[h]
        light, essential, nonessential = sun[h], capped[0][h], capped[1][h]
        used = min(light, idle_c + essential / eta_c)
        idle_0, load_0 = idle_first(light, idle_c, essential, eta_c)
        light -= used
        engine_ran = engine_on
        if engine is not None:
            engine_on = level < (stop_at - margin if engine_on else start_at + margin)
            engine_on = engine_on and grid_present(grid, h) < 1.0
        engine_w = 0.0
        if engine is not None:
            engine_w = engine.power_w * (1.0 if engine_ran else 1.0 - engine.warm_up_h)
        # essential board: store above the grid's level, grid, generator, store
        while True:
            idle, load, drawn, from_grid, from_engine = idle_0, load_0, 0.0, 0.0, 0.0
            if present > 0.0:
                idle, load = present * idle, present * load
                if not grid_first and not engine_on:
                    above = max(min(most, (total - below) * bank.eta_out), 0.0)
                    drawn = min(above, idle + load / eta_c)
                    idle, load = idle_first(above, idle, load, eta_c)
                from_grid = min(grid_w, idle + load)
                idle, load = idle_first(grid_w, idle, load, 1.0)
                idle, load = idle + (1.0 - present) * idle_0, load + (1.0 - present) * load_0
            if engine_on:
                from_engine = min(engine_w, idle + load)
                idle, load = idle_first(engine_w, idle, load, 1.0)
            more = min(most - drawn, idle + load / eta_c)
            idle, load = idle_first(most - drawn, idle, load, eta_c)
            drawn += more
            if engine is None or engine_on or load <= NOT_SUPPLIED_W:
                break
            engine_on = True
        served_c = essential - load
        # nonessential board
        most_in = bank.most_in * bank.charge[h]
        total -= drawn / bank.eta_out
        ready -= drawn / bank.eta_out * bank.per_draw
        most -= drawn
        need, past = idle_h + nonessential / eta_h, idle_h + nonessential
        fed = mains = grid_h = engine_h = 0.0
        part = 1.0 if engine_on else present
        for stage in (1, 2) if part > 0.0 else (2,):
            share, at, store = (part, shed, most) if stage == 1 else (1.0 - fed - mains, shed, most)
            width = margin if stage == 1 else band
            if stage == 1 and (grid_first or engine_on):
                store = 0.0
            elif stage == 1:
                at = max(shed, below)
            if share > 0.0:
                room = bank.room(total, most_in)
                share *= fed_share(bank, total, room, light, store, share * need, at, width)
            share = max(share, 0.0)
            from_sun = min(light, share * need)
            light -= from_sun
            give = (share * need - from_sun) / bank.eta_out
            drawn += share * need - from_sun
            most -= share * need - from_sun
            total, ready = total - give, ready - give * bank.per_draw
            used += from_sun
            fed += share
            if stage == 1 and past > 0.0:
                free = present * (1.0 - fed) if engine_on else present - fed
                grid_h = min(free * past, grid_w - from_grid) if present > 0.0 else 0.0
                if engine_on:
                    engine_h = min((1.0 - fed) * past - grid_h, engine_w - from_engine)
                mains = (grid_h + engine_h) / past
        served_h = nonessential * min(fed + mains, 1.0)
        # the store
        room = bank.room(total, most_in)
        sun_in = min(light, room)
        grid_in = engine_in = 0.0
        if present > 0.0 and total < below:
            grid_in = min(max(grid_w - from_grid - grid_h, 0.0), charger_w * present) * eta_ac
            grid_in = min(grid_in, room - sun_in,
                          max((below - total) / bank.eta_in - sun_in, 0.0))  # fmt: skip
        if engine_on:
            left = min(engine_w - from_engine - engine_h, charger_w - grid_in / eta_ac)
            engine_in = min(max(left, 0.0) * eta_ac, room - sun_in - grid_in)
        charge = sun_in + grid_in + engine_in
        put = charge * bank.eta_in
        q1 = ready + (bank.c * full - ready) * put / max(full - total, margin)
        q2 = total + put - q1
        fuel = 0.0
        if engine_on:
            out_w = from_engine + engine_h + engine_in / eta_ac
            out_w = max(out_w, engine.least_load_frac * engine.power_w)
            fuel = engine.idle_fuel_l_per_h + engine.fuel_l_per_kwh * out_w / 1000.0
        bought = from_grid + grid_h + grid_in / eta_ac
        rows.append((served_c, served_h, light - sun_in, drawn, charge, fuel, bought, engine_on,
                     level))  # fmt: skip
    return rows, (q1, q2, engine_on)


def grid_present(grid, h):
    """Share of the hour with grid."""
    return 0.0 if grid is None else grid.present_frac[h]
