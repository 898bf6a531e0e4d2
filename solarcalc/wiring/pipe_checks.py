"""Checks of a pipe with its cables, and how it is laid."""

from __future__ import annotations

from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.basis.verdict import Verdict, judged
from solarcalc.wiring.pipes import (
    COVER_M,
    FILL_RULE,
    FRICTION,
    JAM_HIGH,
    JAM_LOW,
    MOST_BENDS_DEG,
    PULL_N_PER_MM2,
    PipeFill,
    smallest_pipe,
)

FOR_CABLES = (
    "IEC 61386-1 and -24 are for cables; EN 1329-1 and EN 1401-1 are for waste water; from memory"
)


def fill_verdicts(fill: PipeFill) -> list[Verdict]:
    """Checks of a pipe: whether it is made for cables; room, jamming, bends, pull, cover."""
    larger = smallest_pipe(fill.cables, "duct" if fill.kind == "waste" else fill.kind)
    take = f"{larger.words}, or larger" if larger else "two pipes"
    verdicts = [
        judged(
            fill.kind != "waste", item="Pipe made for cables", found=fill.words,
            limit="a cable duct, a conduit, or steel tubing", clause=FOR_CABLES,
            remedy="a duct of IEC 61386-24: a waste pipe is taken for a drain, and no standard"
            " says that cables may lie in it",
        ),
        judged(
            fill.fill_frac <= fill.limit_frac, "failed",
            item=f"Fill of the {fill.words}, {fill.cable_count} cables",
            found=f"{100.0 * fill.fill_frac:.1f}",
            limit=f"at most {100.0 * fill.limit_frac:.0f}", unit="%", clause=FILL_RULE,
            remedy=f"{take}: cables drawn into a full pipe are torn, and run hot",
        ),
        judged(
            fill.bends_deg <= float(MOST_BENDS_DEG), "failed",
            item="Bends between the ends of the pipe", found=f"{fill.bends_deg:.0f}",
            limit=f"at most {float(MOST_BENDS_DEG):.0f}", unit="deg",
            clause=MOST_BENDS_DEG.source,
            remedy="a box with a lid to pull from, half way",
        ),
        judged(
            fill.depth_m >= float(COVER_M) - 1e-9,
            item="Cover above the pipe", found=f"{fill.depth_m:.2f}",
            limit=f"at least {float(COVER_M):.2f}", unit="m", clause=COVER_M.source,
            remedy="dig deeper, or cover it with slabs; local codes ask for more under a drive",
        ),
    ]  # fmt: skip
    if fill.jam_ratio is not None:
        verdicts.append(_jam_verdict(fill.jam_ratio))
    if fill.pull_limit_kn is not None:
        verdicts.append(_pull_verdict(fill, fill.pull_limit_kn))
    return verdicts


def _jam_verdict(ratio: float) -> Verdict:
    return judged(
        not JAM_LOW <= ratio <= JAM_HIGH,
        item="Three cables in one pipe, inside over cable", found=f"{ratio:.2f}",
        limit=f"below {JAM_LOW:g} or above {JAM_HIGH:g}",
        clause=f"{FILL_RULE}, informational note 2: between them three cables jam in a bend",
        remedy="another size of pipe, or the three laid as a bundle",
    )  # fmt: skip


def _pull_verdict(fill: PipeFill, limit_kn: float) -> Verdict:
    return judged(
        fill.pull_kn <= limit_kn,
        item="Pull to draw the cables in, dry, all bends at the pulling end",
        found=f"{fill.pull_kn:.2f}", limit=f"at most {limit_kn:.2f}", unit="kN",
        clause=f"friction {float(FRICTION):g}; {PULL_N_PER_MM2['copper'].value:g} N a mm2 of"
        f" copper, {PULL_N_PER_MM2['aluminium'].value:g} of aluminium; makers' sheets decide",
        remedy="lubricant made for cables, a box half way, or pull from the end with more bends",
    )  # fmt: skip


def pipe_advice(fill: PipeFill) -> tuple[str, ...]:
    """How the pipe is laid and the cables drawn in."""
    most_mm = max(cable.outer_mm for cable in fill.cables)
    drain = (
        "Pipe for waste water is not made for cables: grey or orange, it is taken for a drain."
        " Label it at both ends and use it where the local code allows it.",
    )
    return (
        "Sweep bends, no elbows: a radius at the bend of ten pipe diameters where there is room,"
        f" and never under {6.0 * most_mm:.0f} mm, six diameters of the thickest cable"
        f" ({NO_SOURCE}; its sheet decides).",
        "Round off every cut end; bell mouths where cables enter.",
        "Draw all cables in together, with a lubricant made for cables, and leave a new draw rope"
        " in.",
        "Leave room: half the allowed fill now means one more cable later without digging.",
        "Let it fall to one end and drain there; seal both ends against water, gas, ants and rats.",
        f"{fill.depth_m:g} m of cover, sand around it, marker tape half way up; draw its way on"
        " the plan.",
        *(drain if fill.kind == "waste" else ()),
        "Direct and alternating current in pipes of their own; circuits of both in one only where"
        " the local code allows it.",
        "Look for buried water, gas and cables before you dig. Local codes and a licensed"
        " electrician decide.",
    )
