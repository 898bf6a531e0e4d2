"""What is checked of ground, electrode and lightning; every check says its rule and remedy."""

from __future__ import annotations

from dataclasses import replace

from solarcalc.basis.check import Check, Evidence, Outcome, checked
from solarcalc.basis.sourced import NO_SOURCE, constant
from solarcalc.basis.worded import worded
from solarcalc.earthing.electrode import Electrode
from solarcalc.earthing.lightning import KEEP_AWAY_CLAUSE, LIGHTNING_EARTH_OHM, Lightning
from solarcalc.earthing.soil import LAYERED_RATIO, PIN_CLAUSE, Ground
from solarcalc.protection.neutral import TOUCH_CLAUSE, most_electrode_ohm, slowest_residual_ma
from solarcalc.sitefile.earthing import Earthing
from solarcalc.sitefile.site import Site

STEADY_OHM = constant("earthing.steady_ohm")
MEASURED_RATIO = constant("earthing.measured_ratio")
TOUCH_LIMITS_V = (50.0, 25.0)


def allowed_ohm(site: Site) -> float:
    """Electrode resistance up to which every residual current device it serves trips [ohm]."""
    return most_electrode_ohm(slowest_residual_ma(site), site.earthing.touch_limit_v)


def electrode_limits(site: Site) -> dict[str, float]:
    """Every limit of the electrode by why it holds [ohm]."""
    touch = f"{site.earthing.touch_limit_v:g} V at {slowest_residual_ma(site):g} mA"
    limits = {f"touch voltage of {touch}": allowed_ohm(site),
              "steady through the years": float(STEADY_OHM)}  # fmt: skip
    if site.protection.lightning_protection:
        limits["earth electrode of the LPS"] = float(LIGHTNING_EARTH_OHM)
    if site.earthing.target_ohm is not None:
        limits["earthing.target_ohm of the site file"] = site.earthing.target_ohm
    return limits


def asked_ohm(site: Site) -> float:
    """What the electrode is built for and tested against: the strictest of its limits [ohm]."""
    return min(electrode_limits(site).values())


def shown_ohm(value_ohm: float) -> str:
    """A resistance for a reader: three digits or so.

    Examples
    --------
    >>> shown_ohm(1666.7), shown_ohm(41.23), shown_ohm(8.713)
    ('1667', '41.2', '8.71')
    """
    return f"{value_ohm:.{0 if value_ohm >= 99.95 else 1 if value_ohm >= 9.995 else 2}f}"


def ground_checks(ground: Ground) -> list[Check]:
    """Whether the ground was tested, how even it is, and how deep the test reached."""
    if not ground.tested:
        return [
            Check(outcome="not assessed", evidence="assumed", clause=ground.clause, **worded(
                "earthing", "ground-tested", basis=ground.basis,
                resistivity_ohm_m=ground.resistivity_ohm_m, low_ohm_m=ground.low_ohm_m,
                high_ohm_m=ground.high_ohm_m,
            ))
        ]
    deepest = ground.readings[-1].spacing_m
    spread = ground.high_ohm_m / ground.low_ohm_m
    return [
        checked(ground.layers == "none", remedy=_LAYERS[ground.layers], **worded(
            "earthing", "ground-same-every", spread=spread, layered_ratio=float(LAYERED_RATIO),
            pin_clause=PIN_CLAUSE,
        )),
        checked(
            deepest >= ground.depth_m,
            rule="earthing/test-depth", kind="data",
            item="Test as deep as the electrode",
            found=f"{deepest:g}", limit=f"at least {ground.depth_m:g}", unit="m",
            clause=PIN_CLAUSE,
            remedy="test again with a larger electrode spacing: the spacing is about the depth"
            " measured",
        ),
        checked(
            len(ground.readings) > 1,
            rule="earthing/readings", kind="data",
            item="Readings of the ground", unit="spacings",
            found=str(len(ground.readings)), limit="at least 2", clause=NO_SOURCE,
            remedy="measure at several spacings, and once more across the first line",
        ),
    ]


_LAYERS = {
    "none": "",
    "better-below": "drive longer rods: the soil is better below",
    "worse-below": "lay a strip or ring, or drive more short rods: the soil is worse below",
    "uneven": "measure again across the first line: a pipe, a cable or stones may lie between"
    " the electrodes",
}


def electrode_checks(site: Site, electrode: Electrode, *, needed: int | None) -> list[Check]:
    """The electrode in the worst season against the strictest of its limits.

    Parameters
    ----------
    site : Site
    electrode : Electrode
    needed : int or None
        Rods of this length and spacing that reach what is asked; None where none do.
    """
    known = electrode.measured_ohm is not None or electrode.ground.tested
    evidence: Evidence = "measured" if known else "assumed"
    limit = _limit(site, electrode, more=_more_words(site.earthing, needed))
    return [
        replace(limit, evidence=evidence), *_measured(electrode, asked_ohm(site)),
        *_spacing(site.earthing),
    ]  # fmt: skip



def _limit(site: Site, electrode: Electrode, *, more: str) -> Check:
    """Passed only where it holds in the worst of the ground too, or the electrode was measured.

    Failed where it is above the touch voltage's limit of a TT system, or the site's own target.
    """
    worst, bad = electrode.worst_ohm, electrode.high_ohm * electrode.ground.season_factor
    limits, asked = electrode_limits(site), asked_ohm(site)
    why = next(words for words, ohm in limits.items() if ohm == asked)
    if electrode.measured_ohm is None:
        why += ", in the worst soil of its kind unless measured"
    sure = electrode.measured_ohm is not None or bad <= asked
    own_target = site.earthing.target_ohm is not None  # then it is what is asked
    outcome: Outcome = "passed" if sure else "review"
    remedy = f"measure it: in the worst soil of this kind it would have {shown_ohm(bad)} Ω"
    action = f"measure it: {shown_ohm(bad)} Ω in the worst soil"
    if worst > asked:
        broken = site.protection.system == "TT" and worst > allowed_ohm(site)
        outcome = "failed" if broken or own_target else "review"
        remedy = f"{more}, or a device of lower rated residual current" if broken else more
        action = more.partition(":")[0]
    return Check(
        rule="earthing/electrode-limit", kind="safety", item="Electrode, worst season",
        found=shown_ohm(worst), limit=f"at most {shown_ohm(asked)}: {why}", unit="Ω",
        outcome=outcome, clause=f"{TOUCH_CLAUSE}; {STEADY_OHM.source}; the strictest applies",
        remedy="" if outcome == "passed" else remedy,
        action="" if outcome == "passed" else action,
    )  # fmt: skip


def _measured(electrode: Electrode, allowed: float) -> list[Check]:
    computed, measured = electrode.computed_ohm, electrode.measured_ohm
    if measured is None:
        bad = electrode.high_ohm * electrode.ground.season_factor
        return [
            Check(outcome="not assessed", evidence="assumed", **worded(
                "earthing", "electrode-measured-built", computed_ohm=shown_ohm(computed),
                bad_ohm=shown_ohm(bad), allowed_ohm=shown_ohm(allowed),
            ))
        ]
    ratio = float(MEASURED_RATIO)
    return [
        checked(
            computed / ratio <= measured <= computed * ratio,
            rule="earthing/measured-beside-computed", kind="data",
            item="Electrode as measured beside computed", found=shown_ohm(measured), unit="Ω",
            limit=f"{shown_ohm(computed / ratio)} to {shown_ohm(computed * ratio)}"
            f" (computed {shown_ohm(computed)})",
            clause=MEASURED_RATIO.source,
            remedy="measure again with the auxiliary electrodes farther away and the link open;"
            " check for a loose clamp, a parallel pipe, or soil different from the test; the"
            " measured value is used",
        )
    ]  # fmt: skip


def _spacing(earthing: Earthing) -> list[Check]:
    if earthing.electrode != "rods" or earthing.rod_count == 1:
        return []
    return [
        checked(earthing.rod_spacing_m >= earthing.rod_length_m, **worded(
            "earthing", "rods-far-enough", rod_spacing_m=earthing.rod_spacing_m,
            rod_length_m=earthing.rod_length_m,
        ))
    ]


def lightning_checks(electrode: Electrode, lightning: Lightning) -> list[Check]:
    """Where the house has lightning rods: distance or bonding, and the earth of the rods."""
    if not lightning.rods:
        return []
    limit = float(LIGHTNING_EARTH_OHM)
    return [
        Check(
            **worded("earthing", "array-lightning-rods", keep_away_m=lightning.keep_away_m),
            outcome="review", clause=KEEP_AWAY_CLAUSE,
        ),
        checked(
            electrode.worst_ohm <= limit, **worded("earthing", "earth-lightning-rods", limit=limit),
            found=shown_ohm(electrode.worst_ohm), clause=LIGHTNING_EARTH_OHM.source,
        ),
    ]


def _more_words(earthing: Earthing, needed: int | None) -> str:
    if earthing.electrode != "rods":
        return "a longer conductor in the soil, or rods bonded to it"
    if needed is None:
        return "longer rods, or a strip or ring: 24 of these rods are not enough"
    return f"{needed} rods like these in a line, or longer ones"
