"""Lesson 13: air for a battery's gas, how far sparks stay away, and fire in the room."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

from solarcalc.basis.physics import STC_C
from solarcalc.design import Design
from solarcalc.figures.lessons import RoomSection, draw_room_section
from solarcalc.figures.style import svg_of
from solarcalc.lessons import pictures
from solarcalc.lessons.tasks import Picture, Worked
from solarcalc.powerroom.air import (
    LEAST_APART_M,
    air_flow_m3_per_h,
    gas_ma_per_ah,
    gross_opening_cm2,
    hydrogen_m3_per_h,
    opening_cm2,
    spark_distance_mm,
)
from solarcalc.powerroom.fire import gas_in_room
from solarcalc.sitefile.chemistry import Chemistry, chemistries

NAMES = ("A", "B", "C", "D", "E")
KINDS = ("flooded", "agm", "gel")
CELL_V = 2
"""Of a lead-acid cell [V]."""
BLOCKS = ((6, 4), (6, 8), (12, 4))
"""Voltage of a block [V] and blocks in series. Not two of 12 V: these have 12 cells, and whoever
takes the volts of the block for its cells would be right."""
FINE, DANGEROUS = ("gloves and goggles", "distilled water"), ("petrol and paint", "camping gas")


@dataclass(frozen=True, kw_only=True)
class Given:
    """Numbers of one learner: an invented bank, its room, and a section with one fault in it."""

    kind: str
    block_v: int
    blocks: int
    strings: int
    block_ah: int
    mesh_free_frac: float
    volume_m3: int
    gas_kg: float
    floor_m2: float
    section: RoomSection
    fault: str

    @property
    def traits(self) -> Chemistry:
        """Of the kind of battery."""
        return chemistries()[self.kind]

    @property
    def cells_a_block(self) -> int:
        """In series in one block."""
        return self.block_v // CELL_V

    @property
    def cells(self) -> int:
        """In series."""
        return self.cells_a_block * self.blocks

    @property
    def capacity_ah(self) -> int:
        """Of all strings [Ah]."""
        return self.strings * self.block_ah

    @property
    def boost(self) -> float:
        """Design current at the absorption voltage [mA/Ah]."""
        return gas_ma_per_ah(self.traits, "boost")

    @property
    def held_full(self) -> float:
        """Design current while the bank is held full [mA/Ah]."""
        return gas_ma_per_ah(self.traits, "float")

    @property
    def flow_m3_per_h(self) -> float:
        """Air that the bank wants, as a question prints it [m3/h]."""
        return round(_flow_m3_per_h(self), 2)

    @property
    def free_cm2(self) -> float:
        """Free opening, as a question prints it [cm2]."""
        return float(round(opening_cm2(self.flow_m3_per_h)))

    @property
    def spark_mm(self) -> float:
        """Distance from sparks [mm]."""
        return spark_distance_mm(gas_ma_per_ah=self.boost, capacity_ah=self.capacity_ah)


def draw(rng: Random, design: Design) -> Given:
    """An invented bank of lead-acid blocks, and a room in which one thing is wrong."""
    kind, (block_v, blocks) = rng.choice(KINDS), rng.choice(BLOCKS)
    strings, block_ah = rng.randint(2, 4), rng.choice((100, 120, 150, 180, 200, 220))
    gas = gas_ma_per_ah(chemistries()[kind], "boost")
    fault = rng.choice(NAMES)
    return Given(
        kind=kind, block_v=block_v, blocks=blocks, strings=strings, block_ah=block_ah,
        mesh_free_frac=rng.choice((0.5, 0.55, 0.6, 0.65, 0.7)), volume_m3=rng.randint(8, 20),
        gas_kg=rng.choice((2.0, 5.0)), floor_m2=round(rng.uniform(4.0, 9.5), 1), fault=fault,
        section=_section(rng, fault, spark_distance_mm(gas_ma_per_ah=gas,
                                                       capacity_ah=strings * block_ah)),
    )  # fmt: skip


def _section(rng: Random, fault: str, spark_mm: float) -> RoomSection:
    """A sound room but for one thing."""
    height_m = rng.choice((2.5, 2.6, 2.7, 2.8))
    far_mm = spark_mm + rng.uniform(80.0, 250.0)
    near_mm = spark_mm - rng.uniform(60.0, 150.0)
    return RoomSection(
        height_m=height_m,
        low_m=round(rng.uniform(1.5, 1.9) if fault == "A" else rng.uniform(0.15, 0.3), 2),
        high_m=round(rng.uniform(0.9, 1.4) if fault == "B" else height_m - 0.15, 2),
        switch_mm=float(round(near_mm if fault == "C" else far_mm, -1)),
        door_outward=fault != "D", stored=rng.choice(DANGEROUS if fault == "E" else FINE),
    )  # fmt: skip


def example() -> dict[str, float]:
    """72 cells of 200 Ah, vented, at the absorption voltage: 14.4 m3/h and 403.2 cm2."""
    gas = gas_ma_per_ah(chemistries()["flooded"], "boost")
    flow = air_flow_m3_per_h(cells=72, gas_ma_per_ah=gas, capacity_ah=200.0)
    return {"cells": 72, "gas": gas, "capacity_ah": 200, "flow": flow,
            "free_cm2": opening_cm2(flow)}  # fmt: skip


def picture(given: Given) -> Picture:
    """Hydrogen over a day of charge: drag the openings and the room."""
    made = hydrogen_m3_per_h(cells=given.cells, temp_c=STC_C,
                             gassing_a=given.boost * given.capacity_ah / 1000.0)  # fmt: skip
    wide = 10.0 * round(3.0 * given.free_cm2 / 10.0)

    def draw(free_opening_cm2: float, room_volume_m3: float) -> str:
        flow = free_opening_cm2 / opening_cm2(1.0)
        return pictures.gas_in_room(made, free_opening_cm2, flow, room_volume_m3)

    return Picture(draw=draw, ranges={
        "free_opening_cm2": (0.0, wide, 10.0, 0.0),
        "room_volume_m3": (5.0, 40.0, 1.0, float(given.volume_m3)),
    })  # fmt: skip


def air_of_sealed(given: Given) -> Worked:
    """The prediction: the air that a sealed bank wants against a vented one, both charging."""
    kinds = chemistries()
    sealed, vented = (gas_ma_per_ah(kinds[kind], "boost") for kind in ("agm", "flooded"))
    share = sealed / vented
    right = "a" if share <= 0.0 else "b" if share < 0.7 else "c" if share < 1.3 else "d"
    return Worked(right=right, steps={"sealed": sealed, "vented": vented,
                                      "share_percent": 100.0 * share})  # fmt: skip


def cells_in_series(given: Given) -> Worked:
    """Cells in series of the bank: each of them makes gas."""
    return Worked(
        right=given.cells, unit="cells", within_frac=0.0,
        wrong={"counted_blocks": given.blocks, "counted_all_strings": given.cells * given.strings,
               "one_block": given.cells_a_block, "volts_of_a_block": given.block_v},
    )  # fmt: skip


def air_flow(given: Given) -> Worked:
    """Air in every hour of charge [m3/h]."""
    def flow(cells: int, gas: float, capacity_ah: float) -> float:
        return air_flow_m3_per_h(cells=cells, gas_ma_per_ah=gas, capacity_ah=capacity_ah)

    return Worked(
        right=_flow_m3_per_h(given), unit="m³/h", within_frac=0.01,
        wrong={"held_full_only": flow(given.cells, given.held_full, given.capacity_ah),
               "one_string_only": flow(given.cells, given.boost, given.block_ah),
               "counted_blocks": flow(given.blocks, given.boost, given.capacity_ah)},
        rows=[{"charge": words, "gassing current [mA/Ah]": gas} for words, gas in
              (("held full", given.held_full), ("absorption, as on a sunny day", given.boost))],
    )  # fmt: skip


def free_opening(given: Given) -> Worked:
    """Free opening, low and high each [cm2]."""
    flow = given.flow_m3_per_h
    return Worked(
        right=opening_cm2(flow), unit="cm²", within_frac=0.01,
        wrong={"shared_by_the_two": opening_cm2(flow) / 2.0, "divided": flow / opening_cm2(1.0),
               "both_together": 2.0 * opening_cm2(flow)},
    )  # fmt: skip


def behind_mesh(given: Given) -> Worked:
    """Opening to build behind an insect mesh [cm2]."""
    free, share = given.free_cm2, given.mesh_free_frac
    return Worked(
        right=gross_opening_cm2(free, share), unit="cm²", within_frac=0.01,
        wrong={"forgot_the_mesh": free, "multiplied": free * share,
               "added_the_wires": free * (2.0 - share)},
        steps={"hole_cm2": gross_opening_cm2(free, share), "open_percent": 100.0 * share,
               "wires_percent": 100.0 * (1.0 - share)},
    )  # fmt: skip


def spark_distance(given: Given) -> Worked:
    """Distance within which nothing may spark [mm]."""
    gas, capacity = given.boost, given.capacity_ah
    return Worked(
        right=given.spark_mm, unit="mm", within_frac=0.01,
        wrong={"held_full_only": spark_distance_mm(gas_ma_per_ah=given.held_full,
                                                   capacity_ah=capacity),
               "one_string_only": spark_distance_mm(gas_ma_per_ah=gas, capacity_ah=given.block_ah),
               "no_root": spark_distance_mm(gas_ma_per_ah=1.0, capacity_ah=1.0) * gas * capacity},
        steps={"product": gas * capacity, "root": (gas * capacity) ** (1.0 / 3.0)},
    )  # fmt: skip


def floor_for_gas(given: Given) -> Worked:
    """Free floor that a CO2 extinguisher asks for, for whoever is inside [m2]."""
    gas = gas_in_room(given.gas_kg, given.floor_m2, given.section.height_m)
    one = gas.needed_floor_m2 / given.gas_kg
    return Worked(
        right=gas.needed_floor_m2, unit="m²", within_frac=0.005,
        wrong={"floor_that_is_there": given.floor_m2, "one_kilogram": one,
               "divided": given.gas_kg / one},
        steps={"one_m2": one, "needed_m2": gas.needed_floor_m2,
               "oxygen_percent": 100.0 * gas.oxygen_frac,
               "carbon_dioxide_percent": 100.0 * gas.carbon_dioxide_frac},
    )  # fmt: skip


def fault_in_room(given: Given) -> Worked:
    """Which of five things of a section is wrong."""
    room = given.section
    wrong_ones = {
        "A": room.low_m > room.height_m / 2.0 and _apart_m(room) < float(LEAST_APART_M),
        "B": room.high_m < room.height_m - 0.5 and _apart_m(room) < float(LEAST_APART_M),
        "C": room.switch_mm < given.spark_mm, "D": not room.door_outward,
        "E": room.stored in DANGEROUS,
    }  # fmt: skip
    right = "".join(name for name, is_wrong in wrong_ones.items() if is_wrong)
    slips = {"A": "inlet_is_low", "B": "outlet_is_high", "C": "switch_is_far_enough",
             "D": "door_opens_outward", "E": "nothing_burns_on_the_shelf"}  # fmt: skip
    because = {
        "A": f"the inlet is {room.low_m:.2f} m up, so that no fresh air comes in below the cells",
        "B": f"the outlet is {room.high_m:.2f} m up under a ceiling of {room.height_m:.2f} m, and"
             " hydrogen gathers above it",
        "C": f"the switch sparks {room.switch_mm:.0f} mm from the cells, and"
             f" {given.spark_mm:.0f} mm are needed",
        "D": "the door opens into the room, so that people who flee push it shut",
        "E": f"the shelf holds {room.stored} beside batteries that make gas",
    }  # fmt: skip
    return Worked(
        right=right, items=NAMES,
        wrong={slip: name for name, slip in slips.items() if name != right},
        drawing=lambda: svg_of(draw_room_section(room)),
        steps={"right": right, "because": because.get(right, "")},
    )  # fmt: skip


def _flow_m3_per_h(given: Given) -> float:
    return air_flow_m3_per_h(cells=given.cells, gas_ma_per_ah=given.boost,
                             capacity_ah=given.capacity_ah)  # fmt: skip


def _apart_m(room: RoomSection) -> float:
    return abs(room.high_m - room.low_m)
