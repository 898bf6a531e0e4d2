"""A device of the system as schedules and drawings name it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

DeviceKind = Literal["fuse", "breaker", "isolator", "surge", "residual", "changeover"]


@dataclass(frozen=True, kw_only=True)
class Device:
    """One line of the protection schedule.

    Parameters
    ----------
    key : str
        Such as ``"string-fuse"``, ``"array-isolator"``, ``"array-surge"``,
        ``"controller-breaker"``, ``"battery-fuse"``, ``"inverter-fuse-critical"``,
        ``"board-breaker-heavy"``, ``"residual-critical"``, ``"changeover"``,
        ``"grid-breaker"``, ``"generator-breaker"``, ``"board-surge"``.
    name : str
        In words.
    kind : {"fuse", "breaker", "isolator", "surge", "residual", "changeover"}
    run_key : str
        Key of the run it protects or stands in; empty where it is none.
    at : str
        Where it is mounted, in words.
    current : {"dc", "ac"}
    count, poles : int
    rated_a : float or None
        Rated current [A]; None for a surge device.
    rated_v : float
        Least rated voltage [V].
    breaking_ka : float or None
        Least breaking (or withstand) capacity [kA].
    extra : str
        What else to ask for: curve, class, type, protection voltage.
    clause : str
        Rule and source.
    """

    key: str
    name: str
    kind: DeviceKind
    run_key: str
    at: str
    current: Literal["dc", "ac"]
    count: int
    poles: int
    rated_a: float | None
    rated_v: float
    breaking_ka: float | None
    extra: str
    clause: str
