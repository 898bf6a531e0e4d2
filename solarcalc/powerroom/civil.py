"""What a small masonry power room takes: blocks, mortar, concrete, roof, plaster, paint."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import constant

BLOCK_LENGTH_M = constant("masonry.block_length_m")
BLOCK_HEIGHT_M = constant("masonry.block_height_m")
BRICK_LENGTH_M = constant("masonry.brick_length_m")
BRICK_HEIGHT_M = constant("masonry.brick_height_m")
BRICK_LEAVES = constant("masonry.brick_leaves")
JOINT_M = constant("masonry.joint_m")
WALL_M = constant("masonry.wall_m")
BREAKAGE_FRAC = constant("masonry.breakage_frac")
MORTAR_LOST_FRAC = constant("masonry.mortar_lost_frac")
SLAB_M = constant("masonry.slab_m")
FOOTING_M = constant("masonry.footing_m")
FOOTING_DEPTH_M = constant("masonry.footing_depth_m")
OVERHANG_M = constant("masonry.overhang_m")
SHEET_LAP_FRAC = constant("masonry.sheet_lap_frac")
ROOF_SLAB_M = constant("masonry.roof_slab_m")
PLASTER_M = constant("masonry.plaster_m")
COATS = constant("masonry.coats")
PAINT_M2_PER_L = constant("masonry.paint_m2_per_l")
DOOR_HEIGHT_M = constant("masonry.door_height_m")

Wall = Literal["block", "brick", "timber", "sheet"]
Cover = Literal["concrete", "sheet", "sheet-insulated"]


@dataclass(frozen=True, kw_only=True)
class CivilWorks:
    """Quantities of a power room, before they are rounded up to what is bought.

    Parameters
    ----------
    wall : {"block", "brick", "timber", "sheet"}
    roof : {"concrete", "sheet", "sheet-insulated"}
    wall_m2 : float
        Of the walls at half their thickness, openings taken off [m2].
    block_count : float
        Blocks or bricks, breakage included; 0 for a wall of timber or sheet.
    mortar_m3, plaster_m3 : float
        What is lost included [m3].
    concrete_m3 : float
        Floor, footing, and the roof where it is of concrete [m3].
    roof_m2 : float
        Of sheets, overhang and laps included [m2]; of concrete, without laps.
    plaster_m2 : float
        Both faces [m2].
    paint_l : float
        Both faces and all coats [l].
    dig_m3 : float
        For the footing [m3].
    door_count, vent_count : int
    span_m : float
        Of its roof, the shorter way inside [m].
    """

    wall: Wall
    roof: Cover
    wall_m2: float
    block_count: float
    mortar_m3: float
    plaster_m3: float
    concrete_m3: float
    roof_m2: float
    plaster_m2: float
    paint_l: float
    dig_m3: float
    door_count: int
    vent_count: int
    span_m: float

    @property
    def measures(self) -> str:
        """Thicknesses that the quantities are of, for whoever builds it."""
        masonry = self.wall in ("block", "brick")
        walls = f"{self.wall} walls {float(WALL_M):.2f} m" if masonry else f"{self.wall} walls"
        cover = f"concrete roof {float(ROOF_SLAB_M):.2f} m" if self.roof == "concrete" else "roof"
        return (f"New room: floor slab {float(SLAB_M):.2f} m; footing {float(FOOTING_M):.2f} m wide"
                f" and deep, {float(FOOTING_DEPTH_M):.2f} m of it concrete; {walls}; {cover},"
                f" {float(OVERHANG_M):.2f} m over the walls. The builder checks ground, steel and"
                " roof.")  # fmt: skip


def civil_works(
    *, length_m: float, depth_m: float, height_m: float, wall: Wall = "block",
    roof: Cover = "sheet-insulated", door_m: float = 0.9, vent_count: int = 2,
) -> CivilWorks:  # fmt: skip
    """Quantities of a rectangular room on the ground with one door.

    For an estimate: no steel, timbers, ring beam or ceiling, and ground that carries a strip
    footing; who builds it checks all of that. Vents are too small to take off the wall.

    Parameters
    ----------
    length_m, depth_m, height_m : float
        Inside [m], above 0.
    wall : {"block", "brick", "timber", "sheet"}
    roof : {"concrete", "sheet", "sheet-insulated"}
    door_m : float
        Width of the door [m].
    vent_count : int

    Raises
    ------
    InputError
        For sizes that are 0 or less, or a door that is no opening of the wall.

    Notes
    -----
    Wall = 2 (length + depth + 2 thickness) height - door; blocks = wall / 0.08 m2 and breakage;
    mortar = wall x thickness x (1 - 0.39 x 0.19 / 0.08) and losses; plaster = both faces.

    Examples
    --------
    >>> works = civil_works(length_m=3.0, depth_m=2.4, height_m=2.6)
    >>> round(works.wall_m2, 2), round(works.block_count)
    (28.27, 371)
    """
    _check(length_m, depth_m, height_m, door_m, vent_count)
    masonry, thick = wall in ("block", "brick"), float(WALL_M)
    ring_m = 2.0 * (length_m + depth_m + 2.0 * thick)
    door_m2 = door_m * float(DOOR_HEIGHT_M)
    wall_m2 = ring_m * height_m - door_m2
    inside_m2 = 2.0 * (length_m + depth_m) * height_m - door_m2
    outside_m2 = 2.0 * (length_m + depth_m + 4.0 * thick) * height_m - door_m2
    faces_m2 = inside_m2 + outside_m2 if masonry else 0.0
    count, mortar_m3 = _laid(wall, wall_m2) if masonry else (0.0, 0.0)
    out = 2.0 * (thick + float(OVERHANG_M))
    cover_m2 = (length_m + out) * (depth_m + out)
    concrete_roof = roof == "concrete"
    slab_m2 = (length_m + 2.0 * thick) * (depth_m + 2.0 * thick)
    concrete_m3 = slab_m2 * float(SLAB_M) + ring_m * float(FOOTING_M) * float(FOOTING_DEPTH_M)
    return CivilWorks(
        wall=wall, roof=roof, wall_m2=wall_m2, block_count=count, mortar_m3=mortar_m3,
        plaster_m3=faces_m2 * float(PLASTER_M) * (1.0 + float(MORTAR_LOST_FRAC)),
        concrete_m3=concrete_m3 + (cover_m2 * float(ROOF_SLAB_M) if concrete_roof else 0.0),
        roof_m2=cover_m2 * (1.0 if concrete_roof else 1.0 + float(SHEET_LAP_FRAC)),
        plaster_m2=faces_m2, paint_l=faces_m2 * float(COATS) / float(PAINT_M2_PER_L),
        dig_m3=ring_m * float(FOOTING_M) ** 2, door_count=1, vent_count=vent_count,
        span_m=min(length_m, depth_m),
    )  # fmt: skip


def _laid(wall: Wall, wall_m2: float) -> tuple[float, float]:
    """Blocks or bricks with breakage, and mortar [m3] with what is lost."""
    joint = float(JOINT_M)
    if wall == "block":
        leaves, length, height = 1.0, float(BLOCK_LENGTH_M), float(BLOCK_HEIGHT_M)
    else:
        leaves = float(BRICK_LEAVES)
        length, height = float(BRICK_LENGTH_M), float(BRICK_HEIGHT_M)
    face = length * height
    solid = (length - joint) * (height - joint) / face
    count = wall_m2 / face * leaves * (1.0 + float(BREAKAGE_FRAC))
    mortar = wall_m2 * float(WALL_M) * (1.0 - solid) * (1.0 + float(MORTAR_LOST_FRAC))
    return count, mortar


def _check(
    length_m: float, depth_m: float, height_m: float, door_m: float, vent_count: int
) -> None:
    sizes = {"length_m": length_m, "depth_m": depth_m, "height_m": height_m}
    faults = [
        Fault(where=f"civil_works: {name}", given=f"{size:g} m", allowed="above 0 m, up to 100 m")
        for name, size in sizes.items()
        if not 0.0 < size <= 100.0
    ]
    if not 0.0 <= door_m <= max(length_m, depth_m):
        faults.append(Fault(where="civil_works: door_m", given=f"{door_m:g} m",
                            allowed="from 0 m to the length of a wall"))
    if vent_count < 0:
        faults.append(Fault(where="civil_works: vent_count", given=str(vent_count),
                            allowed="0 or more"))
    if faults:
        raise InputError(faults)
