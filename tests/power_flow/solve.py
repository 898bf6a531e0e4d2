"""Node voltages of a chain of cables by a general power-flow library, pandapower.

Stands by itself: pandapower asks for an older pandas, so it lives in an environment of its own.
Reads cases on standard input as JSON, ``{"cases": [{"source_v": 48.0, "sections": [{"r_ohm":
0.01, "x_ohm": 0.0, "load_w": 2000.0, "power_factor": 1.0}]}]}``, and prints
``{"version": ..., "volts": [[...]]}``.

The library solves balanced three phases by Newton's method: V from line to line, R and X of one
phase, P of all three. In these units a branch obeys V2^2 = V1^2 - 2 (R P + X Q) + ..., with no
factor of three left in it. Direct current and one phase obey the same with V between the two
conductors, R and X of both together and P of the circuit, so each kind goes in as it stands;
X = 0 for direct current. It starts from even voltages: its usual start divides by X.
"""

import json
import math
import sys

import pandapower as pp


def node_volts(case: dict) -> list[float]:
    """Voltage of the source and of the end of each section [V]."""
    source_kv = case["source_v"] / 1000.0
    net = pp.create_empty_network(f_hz=50.0, sn_mva=0.001)
    buses = [pp.create_bus(net, source_kv)]
    pp.create_ext_grid(net, buses[0], vm_pu=1.0)
    for section in case["sections"]:
        buses.append(pp.create_bus(net, source_kv))
        pp.create_line_from_parameters(
            net, buses[-2], buses[-1], length_km=1.0, r_ohm_per_km=section["r_ohm"],
            x_ohm_per_km=section.get("x_ohm", 0.0), c_nf_per_km=0.0, max_i_ka=1e6,
        )  # fmt: skip
        power_mw = section.get("load_w", 0.0) / 1e6
        tangent = math.tan(math.acos(section.get("power_factor", 1.0)))
        pp.create_load(net, buses[-1], p_mw=power_mw, q_mvar=power_mw * tangent)
    pp.runpp(net, init="flat", tolerance_mva=1e-12, max_iteration=50, numba=False)
    return [float(net.res_bus.vm_pu[bus]) * case["source_v"] for bus in buses]


if __name__ == "__main__":
    given = json.load(sys.stdin)
    json.dump(
        {"version": pp.__version__, "volts": [node_volts(case) for case in given["cases"]]},
        sys.stdout,
    )
