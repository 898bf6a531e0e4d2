"""The room of battery and inverters: air, heat, floor, clearances, fire."""

from solarcalc.powerroom.heat import RoomYear
from solarcalc.powerroom.layout import Box, BoxKind, RoomLayout
from solarcalc.powerroom.placing import room_layout
from solarcalc.powerroom.plan import (
    ROOM_ASSUMPTIONS,
    EquipmentHeat,
    RoomPlan,
    room_plan,
    year_of_room,
)

__all__ = [
    "ROOM_ASSUMPTIONS",
    "Box",
    "BoxKind",
    "EquipmentHeat",
    "RoomLayout",
    "RoomPlan",
    "RoomYear",
    "room_layout",
    "room_plan",
    "year_of_room",
]
