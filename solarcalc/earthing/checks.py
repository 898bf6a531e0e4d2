"""What is checked of ground, electrode and lightning; every check says its rule and remedy."""

from __future__ import annotations

from solarcalc.basis.sourced import FROM_MEMORY, NO_SOURCE, constant
from solarcalc.basis.verdict import Outcome, Verdict, judged
from solarcalc.earthing.electrode import Electrode
from solarcalc.earthing.lightning import KEEP_AWAY_CLAUSE, LIGHTNING_EARTH_OHM, Lightning
from solarcalc.earthing.soil import LAYERED_RATIO, PIN_CLAUSE, Ground
from solarcalc.protection.neutral import TOUCH_CLAUSE, most_electrode_ohm, slowest_residual_ma
from solarcalc.sitefile.earthing import Earthing
from solarcalc.sitefile.site import Site

STEADY_OHM = constant("earthing.steady_ohm")
MEASURED_RATIO = constant("earthing.measured_ratio")
APART_CLAUSE = "BS 7430:2011 cl. 9.5.3: rods at least their own length apart"
TOUCH_LIMITS_V = (50.0, 25.0)


def allowed_ohm(site: Site) -> float:
    """Electrode resistance up to which every residual current device it serves trips [ohm]."""
    return most_electrode_ohm(slowest_residual_ma(site), site.earthing.touch_limit_v)


def asked_ohm(site: Site) -> float:
    """What the electrode is built for [ohm].

    The site file's own target; else the least of the touch voltage condition, the value above
    which an electrode is not steady, and what lightning rods ask for.
    """
    if site.earthing.target_ohm is not None:
        return site.earthing.target_ohm
    limits = [allowed_ohm(site), float(STEADY_OHM)]
    if site.protection.lightning_protection:
        limits.append(float(LIGHTNING_EARTH_OHM))
    return min(limits)


def shown_ohm(value_ohm: float) -> str:
    """A resistance for a reader: three digits or so.

    Examples
    --------
    >>> shown_ohm(1666.7), shown_ohm(41.23), shown_ohm(8.713)
    ('1667', '41.2', '8.71')
    """
    return f"{value_ohm:.{0 if value_ohm >= 99.95 else 1 if value_ohm >= 9.995 else 2}f}"


def ground_checks(ground: Ground) -> list[Verdict]:
    """Whether the ground was tested, how even it is, and how deep the test reached."""
    if not ground.tested:
        return [
            Verdict(
                item="Ground tested", limit="a test with four pins", unit="", outcome="caution",
                found=f"{ground.basis}: {ground.resistivity_ohm_m:g} ohm m, may be"
                f" {ground.low_ohm_m:g} to {ground.high_ohm_m:g}",
                clause=ground.clause,
                remedy="test the ground with four pins where the electrode will stand, and write"
                " soil.spacing_m and soil.resistance_ohm",
            )
        ]  # fmt: skip
    deepest = ground.readings[-1].spacing_m
    spread = ground.high_ohm_m / ground.low_ohm_m
    return [
        judged(
            ground.layers == "none", item="Ground the same at every depth",
            found=f"largest reading {spread:.2f} times the smallest",
            limit=f"below {float(LAYERED_RATIO):g} times", clause=f"{PIN_CLAUSE}; {NO_SOURCE}",
            remedy=_LAYERS[ground.layers],
        ),
        judged(
            deepest >= ground.depth_m, item="Test as deep as the electrode",
            found=f"{deepest:g}", limit=f"at least {ground.depth_m:g}", unit="m",
            clause=PIN_CLAUSE,
            remedy="test again with pins farther apart: the spacing is about the depth it sees",
        ),
        judged(
            len(ground.readings) > 1, item="Readings of the ground", unit="spacings",
            found=str(len(ground.readings)), limit="at least 2", clause=NO_SOURCE,
            remedy="read at several spacings, and once more across the first line",
        ),
    ]  # fmt: skip


_LAYERS = {
    "none": "",
    "better-below": "drive longer rods: the ground is better below",
    "worse-below": "lay a strip or ring, or drive more short rods: the ground is worse below",
    "uneven": "read again across the first line: a pipe, a cable or stones may lie between pins",
}


def electrode_checks(site: Site, electrode: Electrode, *, needed: int | None) -> list[Verdict]:
    """The electrode in the worst season against touch voltage, steadiness and its target.

    Parameters
    ----------
    site : Site
    electrode : Electrode
    needed : int or None
        Rods of this length and spacing that reach what is asked; None where none do.
    """
    worst = electrode.worst_ohm
    allowed = allowed_ohm(site)
    at = f"{site.earthing.touch_limit_v:g} V at {slowest_residual_ma(site):g} mA"
    tt = site.protection.system == "TT"
    more = _more_words(site.earthing, needed)
    checks = [
        _touch(electrode, allowed, tt=tt, more=more, at=at),
        judged(
            worst <= float(STEADY_OHM), item="Electrode steady through the years",
            found=shown_ohm(worst), limit=f"at most {shown_ohm(float(STEADY_OHM))}", unit="ohm",
            clause=STEADY_OHM.source, remedy=more,
        ),
    ]  # fmt: skip
    if site.earthing.target_ohm is not None:
        target = site.earthing.target_ohm
        checks.append(
            judged(
                worst <= target, "failed", item="Electrode against its target, worst season",
                found=shown_ohm(worst), limit=f"at most {shown_ohm(target)}", unit="ohm",
                clause="target_ohm of the site file", remedy=more,
            )
        )  # fmt: skip
    checks += _measured(electrode, allowed)
    checks += _spacing(site.earthing)
    return checks


def _touch(electrode: Electrode, allowed: float, *, tt: bool, more: str, at: str) -> Verdict:
    """Passed only where it holds in the worst of the ground too, or the electrode was measured."""
    worst, bad = electrode.worst_ohm, electrode.high_ohm * electrode.ground.season_factor
    sure = electrode.measured_ohm is not None or bad <= allowed
    outcome: Outcome = "passed" if sure else "caution"
    if worst > allowed:
        outcome = "failed" if tt else "caution"
    remedy = f"{more}, or a device that trips at less"
    if worst <= allowed:
        remedy = f"measure it: in the worst of this ground it would have {shown_ohm(bad)} ohm"
    return Verdict(
        item="Electrode against touch voltage, worst season", found=shown_ohm(worst),
        limit=f"at most {shown_ohm(allowed)}", unit="ohm", outcome=outcome,
        clause=f"{TOUCH_CLAUSE}; {at}", remedy="" if outcome == "passed" else remedy,
    )  # fmt: skip


def _measured(electrode: Electrode, allowed: float) -> list[Verdict]:
    computed, measured = electrode.computed_ohm, electrode.measured_ohm
    if measured is None:
        bad = electrode.high_ohm * electrode.ground.season_factor
        return [
            Verdict(
                item="Electrode measured as built", outcome="caution", unit="",
                found=f"not measured; computed {shown_ohm(computed)} ohm, up to {shown_ohm(bad)}"
                " ohm in the worst of this ground and season",
                limit="a measurement before anything is switched on,"
                f" at most {shown_ohm(allowed)} ohm",
                clause=f"IEC 60364-6 cl. 6.4.3.7.2, {FROM_MEMORY}",
                remedy="measure it by the steps given, and write earthing.measured_ohm",
            )
        ]  # fmt: skip
    ratio = float(MEASURED_RATIO)
    return [
        judged(
            computed / ratio <= measured <= computed * ratio,
            item="Electrode as measured beside computed", found=shown_ohm(measured), unit="ohm",
            limit=f"{shown_ohm(computed / ratio)} to {shown_ohm(computed * ratio)}"
            f" (computed {shown_ohm(computed)})",
            clause=MEASURED_RATIO.source,
            remedy="measure again with the pins farther away and the link open; look for a loose"
            " clamp, a pipe that helps, or ground unlike the test; the measured value is used",
        )
    ]  # fmt: skip


def _spacing(earthing: Earthing) -> list[Verdict]:
    if earthing.electrode != "rods" or earthing.rod_count == 1:
        return []
    return [
        judged(
            earthing.rod_spacing_m >= earthing.rod_length_m, item="Rods far enough apart",
            found=f"{earthing.rod_spacing_m:g}", limit=f"at least {earthing.rod_length_m:g}",
            unit="m", clause=f"{APART_CLAUSE}, {FROM_MEMORY}",
            remedy="drive them a rod's length apart or more: closer ones use the same ground",
        )
    ]  # fmt: skip


def lightning_checks(electrode: Electrode, lightning: Lightning) -> list[Verdict]:
    """Where the house has lightning rods: distance or bonding, and the earth of the rods."""
    if not lightning.rods:
        return []
    limit = float(LIGHTNING_EARTH_OHM)
    return [
        Verdict(
            item="Array and lightning rods kept apart", outcome="caution", unit="",
            found="distance not in the site file; taken as joined, conductors sized for it",
            limit=f"at least {lightning.keep_away_m:.2f} m in air, twice that through a wall",
            clause=KEEP_AWAY_CLAUSE,
            remedy="keep that distance everywhere, or join frames and rods with"
            " 16 mm2 copper and fit surge devices of class I",
        ),
        judged(
            electrode.worst_ohm <= limit, item="Earth of the lightning rods, worst season",
            found=shown_ohm(electrode.worst_ohm), limit=f"at most {limit:g}", unit="ohm",
            clause=LIGHTNING_EARTH_OHM.source,
            remedy="more rods or a ring around the house, joined to this bar",
        ),
    ]  # fmt: skip


def _more_words(earthing: Earthing, needed: int | None) -> str:
    if earthing.electrode != "rods":
        return "more conductor in the ground, or rods joined to it"
    if needed is None:
        return "longer rods, or a strip or ring: 24 of these rods are not enough"
    return f"{needed} rods like these in a line, or longer ones"
