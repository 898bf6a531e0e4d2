"""What the graph is built from: the site, and what the stages before have chosen."""

from __future__ import annotations

from dataclasses import dataclass

from solarcalc.earthing.plan import EarthingPlan
from solarcalc.installation.records import Bought
from solarcalc.powerroom.layout import RoomLayout
from solarcalc.protection.case import Device
from solarcalc.protection.plan import ProtectionPlan
from solarcalc.roof.hardware import Hardware
from solarcalc.sitefile.site import Site
from solarcalc.wiring.runs import SizedRun


@dataclass(frozen=True, kw_only=True, eq=False)
class Chosen:
    """Everything that is chosen before things are counted.

    Parameters
    ----------
    site : Site
    sized : tuple of SizedRun
    plan : ProtectionPlan
    earth : EarthingPlan
    layout : RoomLayout
    hardware : Hardware or None
        Rails, clamps and feet; None where the modules need none.
    cold_string_v : float
        Open circuit of a string at the record low [V].
    """

    site: Site
    sized: tuple[SizedRun, ...]
    plan: ProtectionPlan
    earth: EarthingPlan
    layout: RoomLayout
    hardware: Hardware | None
    cold_string_v: float

    def run(self, key: str) -> SizedRun:
        """The run of that key with its cable."""
        return next(one for one in self.sized if one.run.key == key)

    @property
    def room(self) -> str:
        """Where inverters, controllers and boards hang."""
        return "power room" if self.site.room.inverters_inside else "outside the room"


def device_bought(device: Device) -> Bought:
    """A device as it is bought: by rating and poles."""
    rated = "" if device.rated_a is None else f"{device.rated_a:g} A"
    pole_words = "1 pole" if device.poles == 1 else f"{device.poles} poles"
    return Bought(
        item=f"{device.kind}-{device.current}",
        very=f"{rated.replace(' ', '').lower()}-{device.poles}p".removeprefix("-"),
        words=f"{rated}, {pole_words}" if rated else pole_words, size=float(device.poles),
    )  # fmt: skip
