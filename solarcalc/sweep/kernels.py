"""The compiled loops of the sweep: one plane's hours made ready, then every array on it.

All of them stand in this one file, since the kept machine code is checked against the file of
each function alone. Light is in W/m2, power in shares of the rated power, single precision but
for sums. `f4` makes a constant single.

The year of a plane is put in order of r = (n_roof . s) / (n_module . s): rows at a pitch of q
slants are shaded in the hours with r < 1 / q, which then come first. Only those are visited
anew for each array. What the others give depends on the array through one number alone, the
share F of the sky that its rows see; it is worked out at four values of F once a plane and
added up from the end, so that any number of last hours costs one cubic. The cubic is within
5e-5 of the year even where it spans nearly all the sky (upright rows half a metre apart). The
share B of the bright band over the horizon counts in a straight line: its whole effect is worked
out at the first and the last of those four values, and lies on a straight line between.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy import float32 as f4

from solarcalc.sweep.compiled import compiled

ROWS = 9
"""Rows of a block of hours: see `order_hours`."""
BLOCK = 256
"""Hours worked on together; their intermediate results stay in the nearest cache."""
BINS = 256
"""Bins of r by which a plane's hours are put in order; an hour in the last bin that turns out
to be unshaded is looked up all the same, and keeps all its power."""
FAR = f4(1e9)
"""Pitch over slant at which no row shades another."""
LEAST_COSINE = 1e-9
DARK_W_M2 = f4(1.0)
LOG_LIGHT_MIDDLE, LIGHT_SCALE_W_M2 = 5.0, 1000.0
CELL_MIDDLE_C, CELL_SCALE_K = 25.0, 50.0
"""Middle and scale of what the fit of the power is a polynomial in."""
NODES = (0.0, 0.25, 0.75, 1.0)
"""Places between open sky (0) and the least sky of any pitch (1) of the four values of F:
those of Chebyshev, ends included."""

Floats = Any
"""Arrays, which the compiler knows by their own types."""


class Sun(NamedTuple):
    """Hours with light, what no plane changes, shape (n,) each, double precision."""

    east: Floats
    north: Floats
    up: Floats
    on_roof: Floats
    direct: Floats
    sky: Floats
    band: Floats
    ground: Floats
    air_c: Floats
    heat: Floats


class Planes(NamedTuple):
    """Planes, shape (p,) each; ``passed`` (t, plans, n) and which tilt t each plane has.

    ``ring`` and ``ring_on_roof`` (p, r) are cosines on plane and roof of rays from the band over
    the horizon, over the sum of those on the plane; 0 for a ray from behind.
    """

    east: Floats
    north: Floats
    up: Floats
    sky: Floats
    dark: Floats
    band: Floats
    ground: Floats
    sky_glass: Floats
    band_glass: Floats
    ground_glass: Floats
    cos_lift: Floats
    ring: Floats
    ring_on_roof: Floats
    tilt_at: Floats
    passed: Floats


class Device(NamedTuple):
    """Glass over the cosine, and the fit of the module's power; wiring loss at rated power."""

    glass: Floats
    power: Any
    wiring: Any


class Shade(NamedTuple):
    """Shade tables side by side; see `solarcalc.sweep.device`."""

    kept: Floats
    fraction_from: Floats
    fraction_per: Floats
    fraction_at: Floats
    fraction_bins: Floats
    share_from: Floats
    share_per: Floats
    share_at: Floats
    log_light: Any
    per_log_light: Any
    heat_from: Any
    heat_per: Any


class Arrays(NamedTuple):
    """Ways to stand on a plane, shape (v,): pitch and slant [m], least free strip, table."""

    pitch: Floats
    slant: Floats
    gap: Floats
    strip: Any
    table: Floats


@compiled(inner=True)
def _log(light: Any) -> Any:
    """Natural logarithm, within 5e-7: exponent and a polynomial over the mantissa."""
    bits = f4(light).view(np.int32)
    exponent = f4(np.int32(np.int32(bits >> np.int32(23)) - np.int32(127)))
    one_to_two = np.int32(np.int32(bits & np.int32(0x007FFFFF)) | np.int32(0x3F800000))
    x = one_to_two.view(f4) - f4(1.5)
    inner = f4(0.025967330) + x * (f4(-0.017414078) + x * f4(0.010243828))
    inner = f4(0.098791748) + x * (f4(-0.048929036) + x * inner)
    inner = f4(0.66666615) + x * (f4(-0.2222454) + x * inner)
    return exponent * f4(0.69314718) + (f4(0.4054653) + x * inner)


@compiled(inner=True)
def _power(log_light: Any, light: Any, cell_c: Any, c: Any) -> Any:
    """Best power over rated power, from the fit of `solarcalc.sweep.device`."""
    cell = (cell_c - f4(CELL_MIDDLE_C)) * f4(1.0 / CELL_SCALE_K)
    depth, sun = log_light - f4(LOG_LIGHT_MIDDLE), light * f4(1.0 / LIGHT_SCALE_W_M2)
    a = c[0] + cell * (c[1] + cell * (c[2] + cell * c[3]))
    b = c[4] + cell * (c[5] + cell * (c[6] + cell * c[7]))
    d = c[8] + cell * (c[9] + cell * (c[10] + cell * c[11]))
    e = c[12] + cell * (c[13] + cell * (c[14] + cell * c[15]))
    f = c[16] + cell * (c[17] + cell * (c[18] + cell * c[19]))
    g = c[20] + cell * (c[21] + cell * (c[22] + cell * c[23]))
    h = c[24] + cell * (c[25] + cell * (c[26] + cell * c[27]))
    i = c[28] + cell * (c[29] + cell * (c[30] + cell * c[31]))
    j = c[32] + cell * (c[33] + cell * (c[34] + cell * c[35]))
    share = a + depth * (b + depth * (d + depth * (e + depth * (f + depth * g))))
    power = sun * (share + sun * (h + sun * (i + sun * j)))
    return power if light > DARK_W_M2 else f4(0.0)


@compiled()
def sky_kept(q: Any, cos_lift: Any) -> Any:
    """Share of its own sky that a row at a pitch of q slants still sees: crossed strings."""
    seen = (1.0 + q - np.sqrt(1.0 + q * q - 2.0 * q * cos_lift)) / 2.0
    return min(seen / ((1.0 + cos_lift) / 2.0), 1.0)


@compiled()
def band_kept(q: Any, plane: Any, planes: Any) -> Any:
    """Share of the band over the horizon that a row at a pitch of q slants still sees."""
    if planes.cos_lift[plane] >= 1.0:
        return 1.0
    total = 0.0
    for i in range(planes.ring.shape[1]):
        total += min(planes.ring[plane, i], q * planes.ring_on_roof[plane, i])
    return total


@compiled()
def order_hours(sun: Any, planes: Any, plane: Any, plan: Any, glass: Any, closest: Any) -> Any:
    """A plane's hours in blocks, those shaded at wide pitches first, with the bins' starts.

    Each block holds BLOCK values of r, direct, sky, ground (through glass and dust), then what
    they heat: base, direct, sky [K]; last the bright band over the horizon, and what it heats. A
    dark one is taken off the sky.
    """
    n = len(sun.up)
    ratio, cosine = np.empty(n, f4), np.empty(n, f4)
    counts = np.zeros(BINS + 2, np.int64)
    bins = np.empty(n, np.int16)
    per = BINS * closest
    for h in range(n):
        c = planes.east[plane] * sun.east[h] + planes.north[plane] * sun.north[h]
        c += planes.up[plane] * sun.up[h]
        lit = c > LEAST_COSINE and sun.direct[h] > 0.0
        cosine[h] = c if lit else 0.0
        ratio[h] = min(sun.on_roof[h] / max(c, LEAST_COSINE), 1e9) if lit else 1e9
        bins[h] = int(min(ratio[h] * per, float(BINS)))
        counts[bins[h] + 1] += 1
    start = np.cumsum(counts)
    place = start.copy()
    hours = np.zeros(((n + BLOCK - 1) // BLOCK) * ROWS * BLOCK, f4)
    hour_at = np.empty(n, np.int32)
    passed = planes.passed[planes.tilt_at[plane], plan]
    steps = len(glass) - 1
    for h in range(n):
        at = place[bins[h]]
        place[bins[h]] += 1
        hour_at[at] = h
        direct, sky = sun.direct[h] * cosine[h], sun.sky[h] * planes.sky[plane]
        sky = max(sky + min(sun.band[h], 0.0) * planes.dark[plane], 0.0)
        band = max(sun.band[h], 0.0) * planes.band[plane]
        ground = sun.ground[h] * planes.ground[plane]
        on_glass = cosine[h] * steps
        low = min(int(on_glass), steps - 1)
        through = glass[low] + (on_glass - low) * (glass[low + 1] - glass[low])
        o = (at // BLOCK) * ROWS * BLOCK + at % BLOCK
        hours[o] = ratio[h]
        hours[o + BLOCK] = direct * through * passed[h]
        hours[o + 2 * BLOCK] = sky * planes.sky_glass[plane] * passed[h]
        hours[o + 3 * BLOCK] = ground * planes.ground_glass[plane] * passed[h]
        hours[o + 4 * BLOCK] = sun.air_c[h] + sun.heat[h] * ground
        hours[o + 5 * BLOCK] = sun.heat[h] * direct
        hours[o + 6 * BLOCK] = sun.heat[h] * sky
        hours[o + 7 * BLOCK] = band * planes.band_glass[plane] * passed[h]
        hours[o + 8 * BLOCK] = sun.heat[h] * band
    return hours, start, hour_at


@compiled(inner=True)
def dimmed(q: Any, sky: Any, band: Any, n: Any, hours: Any, out: Any, device: Any) -> None:
    """Net power of a block's first n hours, shade taking its share of the direct light only.

    At a pitch of q = FAR slants nothing is shaded.
    """
    power, wiring = device.power, device.wiring
    for i in range(n):
        lit = min(q * hours[i], f4(1.0))
        light = hours[i + BLOCK] * lit + hours[i + 2 * BLOCK] * sky + hours[i + 3 * BLOCK]
        light = max(light + hours[i + 7 * BLOCK] * band, f4(1e-3))
        cell = hours[i + 4 * BLOCK] + hours[i + 5 * BLOCK] * lit + hours[i + 6 * BLOCK] * sky
        cell += hours[i + 8 * BLOCK] * band
        p = _power(_log(light), light, cell, power)
        out[i] = p * (f4(1.0) - wiring * p)


@compiled(inner=True)
def places(
    q: Any, sky: Any, band: Any, n: Any, hours: Any, out: Any, power: Any, knots: Any,
    per_log: Any, heat_from: Any, heat_per: Any,
) -> None:  # fmt: skip
    """Power without shade, and where each hour of a block stands in the shade table."""
    for i in range(n):
        lit = min(q * hours[i], f4(1.0))
        left = hours[i + 2 * BLOCK] * sky + hours[i + 3 * BLOCK] + hours[i + 7 * BLOCK] * band
        light = max(left + hours[i + BLOCK], f4(1e-3))
        cell = hours[i + 4 * BLOCK] + hours[i + 5 * BLOCK] * lit + hours[i + 6 * BLOCK] * sky
        cell += hours[i + 8 * BLOCK] * band
        log_light = _log(light)
        held = min(max(log_light, knots[0]), knots[3])
        place = (min(held, knots[1]) - knots[0]) * per_log[0]
        place += (min(max(held, knots[1]), knots[2]) - knots[1]) * per_log[1]
        place += (max(held, knots[2]) - knots[2]) * per_log[2]
        out[i] = f4(1.0) - lit
        out[i + BLOCK] = min(left / light, f4(1.0))
        out[i + 2 * BLOCK] = _power(log_light, light, cell, power)
        out[i + 3 * BLOCK] = min(place, f4(2.999999))
        out[i + 4 * BLOCK] = min(max((cell - heat_from) * heat_per, f4(0.0)), f4(1.0))


@compiled(inner=True)
def _kept(i: Any, at: Any, which: Any, shade: Any) -> Any:
    """Share of power kept in hour i of a block: the table's cell as a product of four lines."""
    fraction, share = at[i], at[i + BLOCK]
    a = np.uint32(np.int32(fraction * shade.fraction_bins[which]))
    b = np.uint32(np.int32(share * f4(len(shade.share_at) - 1)))
    c = np.uint32(np.int32(at[i + 3 * BLOCK]))
    x = (fraction - shade.fraction_from[which, a]) * shade.fraction_per[which, a]
    y = (share - shade.share_from[b]) * shade.share_per[b]
    z, t = at[i + 3 * BLOCK] - f4(c), at[i + 4 * BLOCK]
    k, o = shade.kept, np.uint32(shade.fraction_at[which, a] + shade.share_at[b] + c)
    k0, k1 = k[o, 0] + t * k[o, 8], k[o, 1] + t * k[o, 9]
    k2, k3 = k[o, 2] + t * k[o, 10], k[o, 3] + t * k[o, 11]
    k0 += z * (k[o, 4] + t * k[o, 12])
    k1 += z * (k[o, 5] + t * k[o, 13])
    k2 += z * (k[o, 6] + t * k[o, 14])
    k3 += z * (k[o, 7] + t * k[o, 15])
    return (k0 + x * k2) + y * (k1 + x * k3)


@compiled(in_order=True, inner=True)
def _looked_up(n: Any, at: Any, which: Any, shade: Any, wiring: Any) -> Any:
    """Sum of net power over the first n hours of a block, by the shade table."""
    total = f4(0.0)
    for i in range(n):
        p = at[i + 2 * BLOCK] * _kept(i, at, which, shade)
        total += p * (f4(1.0) - wiring * p)
    return total


@compiled()
def looked_up_each(n: Any, at: Any, out: Any, which: Any, shade: Any, wiring: Any) -> None:
    """Net power of each of the first n hours of a block, by the shade table."""
    for i in range(n):
        p = at[i + 2 * BLOCK] * _kept(i, at, which, shade)
        out[i] = p * (f4(1.0) - wiring * p)


@compiled(inner=True)
def _sum(out: Any, n: Any) -> Any:
    total = f4(0.0)
    for i in range(n):
        total += out[i]
    return total


@compiled()
def _shaded_sum(
    q: Any, sky: Any, band: Any, count: Any, hours: Any, scratch: Any, which: Any, device: Any,
    shade: Any,
) -> Any:  # fmt: skip
    """Sum of net power over the first hours of a plane; without table for which < 0."""
    total = 0.0
    for first in range(0, count, BLOCK):
        n = min(BLOCK, count - first)
        block = hours[first * ROWS : (first + BLOCK) * ROWS]
        if which < 0:
            dimmed(q, sky, band, n, block, scratch, device)
            total += _sum(scratch, n)
        else:
            places(q, sky, band, n, block, scratch, device.power, shade.log_light,
                   shade.per_log_light, shade.heat_from, shade.heat_per)  # fmt: skip
            total += _looked_up(n, scratch, which, shade, device.wiring)
    return total


@compiled(inner=True)
def _sums_from_the_end(hours: Any, n: Any, span: Any, device: Any) -> Any:
    """Net power without shade of hour h and all after it, (n + 1, 6).

    At the four values of F without the bright band, then with it at the first and the last.
    """
    sums = np.zeros((n + 1, 6))
    out = np.empty(BLOCK, f4)
    for node in range(6):
        sky = f4(1.0 - span * NODES[node if node < 4 else 3 * (node - 4)])
        band = f4(0.0 if node < 4 else 1.0)
        for first in range(0, n, BLOCK):
            width = min(BLOCK, n - first)
            dimmed(FAR, sky, band, width, hours[first * ROWS : (first + BLOCK) * ROWS], out, device)
            for i in range(width):
                sums[first + i, node] = out[i]
    for h in range(n - 1, -1, -1):
        for node in range(6):
            sums[h, node] += sums[h + 1, node]
    return sums


@compiled(inner=True)
def _between(x: Any, band: Any, values: Any) -> Any:
    """The cubic through the four values at NODES, and a share of what the bright band adds."""
    first, last = values[4] - values[0], values[5] - values[3]
    return _cubic(x, values) + band * (first + x * (last - first))


@compiled(inner=True)
def _cubic(x: Any, values: Any) -> Any:
    """The cubic through the four values at NODES."""
    total = 0.0
    for i in range(4):
        part = values[i]
        for j in range(4):
            if j != i:
                part *= (x - NODES[j]) / (NODES[i] - NODES[j])
        total += part
    return total


@compiled(inner=True)
def _closest(arrays: Any, cos_lift: Any) -> Any:
    """Least pitch over slant of the arrays that can stand on a plane; infinite for none."""
    closest = 1e30
    for v in range(len(arrays.pitch)):
        if arrays.pitch[v] >= least_pitch(v, arrays, cos_lift):
            closest = min(closest, arrays.pitch[v] / arrays.slant[v])
    return closest


@compiled()
def least_pitch(v: Any, arrays: Any, cos_lift: Any) -> Any:
    """Smallest pitch [m] that leaves the free strip, less a nanometre for rounding."""
    free = arrays.gap[v] if cos_lift >= 1.0 else arrays.strip
    return arrays.slant[v] * cos_lift + free - 1e-9


@compiled()
def sweep_planes(
    first: Any, last: Any, sun: Any, planes: Any, device: Any, shade: Any, arrays: Any,
    behind: Any, front: Any,
) -> None:  # fmt: skip
    """Fill yearly energy [kWh/kWp] for planes first to last: (p, plans, v) and (p, plans)."""
    n = len(sun.up)
    scratch = np.empty(5 * BLOCK, f4)
    for plane in range(first, last):
        cos_lift = planes.cos_lift[plane]
        closest = min(_closest(arrays, cos_lift), 1e6)
        span = max(1.0 - sky_kept(closest, cos_lift), 0.01)
        for plan in range(behind.shape[1]):
            hours, start, _ = order_hours(sun, planes, plane, plan, device.glass, closest)
            sums = _sums_from_the_end(hours, n, span, device)
            front[plane, plan] = sums[0, 4]
            for v in range(len(arrays.pitch)):
                if arrays.pitch[v] < least_pitch(v, arrays, cos_lift):
                    behind[plane, plan, v] = np.nan
                    continue
                q = arrays.pitch[v] / arrays.slant[v]
                sky, band = sky_kept(q, cos_lift), band_kept(q, plane, planes)
                count = start[min(int(BINS * closest / q) + 1, BINS)]
                rest = _between((1.0 - sky) / span, band, sums[count])
                behind[plane, plan, v] = rest + _shaded_sum(
                    f4(q), f4(sky), f4(band), count, hours, scratch, arrays.table[v], device, shade
                )


@compiled()
def year_of_blocks(
    q: Any, sky: Any, band: Any, hours: Any, hour_at: Any, which: Any, device: Any, shade: Any,
    power: Any,
) -> None:  # fmt: skip
    """Net power by hour of one array, behind another row and in front, (2, n)."""
    at, out = np.empty(5 * BLOCK, f4), np.empty(BLOCK, f4)
    for first in range(0, len(hour_at), BLOCK):
        n = min(BLOCK, len(hour_at) - first)
        block = hours[first * ROWS : (first + BLOCK) * ROWS]
        for row in range(2):
            if row == 1:
                dimmed(FAR, f4(1.0), f4(1.0), n, block, out, device)
            elif which < 0:
                dimmed(q, sky, band, n, block, out, device)
            else:
                places(q, sky, band, n, block, at, device.power, shade.log_light,
                       shade.per_log_light, shade.heat_from, shade.heat_per)  # fmt: skip
                looked_up_each(n, at, out, which, shade, device.wiring)
            for i in range(n):
                power[row, hour_at[first + i]] = out[i]


class Windows(NamedTuple):
    """What tracking windows leave of the power, by light and heat of the cells, single precision.

    ``kept`` (w, lights, heats) is the share kept. The knots are even in the logarithm of light
    and in heat: their first value and how many there are to one of it.
    """

    kept: Any
    log_from: Any
    log_per: Any
    heat_from: Any
    heat_per: Any


@compiled(in_order=True, inner=True)
def _kept_each(n: Any, at: Any, out: Any, which: Any, shade: Any) -> None:
    """Share of power kept in each of the first n hours of a block, by the shade table."""
    for i in range(n):
        out[i] = _kept(i, at, which, shade)


@compiled(in_order=True, inner=True)
def _between_knots(table: Any, x: Any, y: Any) -> Any:
    """A value between the knots of a table, in straight lines; held at its edges."""
    x = min(max(x, f4(0.0)), f4(table.shape[0] - 1.001))
    y = min(max(y, f4(0.0)), f4(table.shape[1] - 1.001))
    a, b = np.uint32(x), np.uint32(y)
    s, t = x - f4(a), y - f4(b)
    low = table[a, b] + t * (table[a, b + 1] - table[a, b])
    high = table[a + 1, b] + t * (table[a + 1, b + 1] - table[a + 1, b])
    return low + s * (high - low)


@compiled(in_order=True, inner=True)
def in_windows(
    q: Any, sky: Any, band: Any, hours: Any, hour_at: Any, windows: Any, out: Any
) -> None:
    """Share that each window leaves of a plane's hours at a pitch of q slants, (w, n)."""
    for h in range(len(hour_at)):
        o = (h // BLOCK) * ROWS * BLOCK + h % BLOCK
        lit = min(q * hours[o], f4(1.0))
        light = hours[o + 2 * BLOCK] * sky + hours[o + 3 * BLOCK] + hours[o + 7 * BLOCK] * band
        light = max(light + hours[o + BLOCK], f4(1e-3))
        cell = hours[o + 4 * BLOCK] + hours[o + 5 * BLOCK] * lit + hours[o + 6 * BLOCK] * sky
        cell += hours[o + 8 * BLOCK] * band
        x = (_log(light) - windows.log_from) * windows.log_per
        y = (cell - windows.heat_from) * windows.heat_per
        for w in range(len(out)):
            out[w, hour_at[h]] = _between_knots(windows.kept[w], x, y)


@compiled()
def front_row(
    sun: Any, planes: Any, plane: Any, device: Any, leaves: Any, windows: Any, power: Any, held: Any
) -> None:  # fmt: skip
    """Power over rated power of a front row by hour with light, before cables, (n,).

    `leaves` (2, n): the most that the dirt band leaves, and what snow leaves. `held` (w, n) is
    what tracking windows leave; of the first plan.
    """
    hours, _, hour_at = order_hours(sun, planes, plane, 0, device.glass, 1.0)
    out = np.empty(BLOCK, f4)
    for first in range(0, len(hour_at), BLOCK):
        n = min(BLOCK, len(hour_at) - first)
        dimmed(FAR, f4(1.0), f4(1.0), n, hours[first * ROWS : (first + BLOCK) * ROWS], out, device)
        for i in range(n):
            h = hour_at[first + i]
            power[h] = max(out[i], f4(0.0)) * leaves[0, h] * leaves[1, h]
    if len(held):
        in_windows(FAR, f4(1.0), f4(1.0), hours, hour_at, windows, held)


@compiled()
def rows_behind(
    sun: Any, planes: Any, plane: Any, device: Any, shade: Any, closest: Any, q: Any, leaves: Any,
    windows: Any, front: Any, power: Any, held: Any,
) -> None:  # fmt: skip
    """The same of rows behind others at each of the pitches q over slant: (k, n) and (k, w, n).

    A row behind gives no more than the front one: where a little shade leaves its cells cooler
    at no cost, that gain is left out, so that a front row bounds them all. The shade table is the
    first; none of q lies below `closest`, by which hours are put in order.
    """
    hours, start, hour_at = order_hours(sun, planes, plane, 0, device.glass, closest)
    at, out = np.empty(5 * BLOCK, f4), np.empty(BLOCK, f4)
    kept = np.ones(BLOCK, f4)
    for k in range(len(q)):
        sky, band = f4(sky_kept(q[k], planes.cos_lift[plane])), f4(band_kept(q[k], plane, planes))
        count = start[min(int(BINS * closest / q[k]) + 1, BINS)]
        wide = f4(q[k])
        for first in range(0, len(hour_at), BLOCK):
            n = min(BLOCK, len(hour_at) - first)
            block = hours[first * ROWS : (first + BLOCK) * ROWS]
            if first < count:
                places(wide, sky, band, n, block, at, device.power, shade.log_light,
                       shade.per_log_light, shade.heat_from, shade.heat_per)  # fmt: skip
                _kept_each(n, at, kept, 0, shade)
                out[:n] = at[2 * BLOCK : 2 * BLOCK + n]
            else:
                dimmed(FAR, sky, band, n, block, out, device)
                kept[:] = f4(1.0)
            for i in range(n):
                h = hour_at[first + i]
                p = max(out[i], f4(0.0)) * min(kept[i], leaves[0, h]) * leaves[1, h]
                power[k, h] = min(p, front[h])
        if held.shape[1]:
            in_windows(wide, sky, band, hours, hour_at, windows, held[k])


@compiled()
def net_of_rows(front: Any, behind: Any, rows: Any, wiring: Any, held: Any, out: Any) -> None:
    """Power over rated power of so many rows behind cables and tracking window, by hour, (n,)."""
    share = f4(1.0 / rows)
    for h in range(len(front)):
        p = share * front[h] + (f4(1.0) - share) * behind[h]
        out[h] = (p - wiring * p * p) * held[h]


@compiled()
def outshone(light: Any, by_sum: Any, stays: Any) -> None:
    """Which lines of light (m, n) another line passes or equals in every hour; (m,) of bool.

    `by_sum` has the lines in falling order of their sums, of equal sums the first in its own
    order: only those before a line can outshine it.
    """
    for place in range(len(by_sum)):
        mine = light[by_sum[place]]
        stays[by_sum[place]] = True
        for other in range(place):
            theirs = light[by_sum[other]]
            if stays[by_sum[other]]:
                less = False
                for first in range(0, len(mine), BLOCK):
                    below = 0
                    for h in range(first, min(first + BLOCK, len(mine))):
                        below += mine[h] > theirs[h]
                    if below:
                        less = True
                        break
                if not less:
                    stays[by_sum[place]] = False
                    break
