"""Tables and sentences that the stages already put into words, for this job."""

from __future__ import annotations

from collections.abc import Sequence

from solarcalc.job.electrical.built import Electrical
from solarcalc.job.electrical.rows import facts_of_labels
from solarcalc.job.tables import Row
from solarcalc.protection import plan as protection
from solarcalc.wiring import chain, gauge, places
from solarcalc.wiring.labels import core_colour_rows, polarity_steps
from solarcalc.wiring.pipe_checks import pipe_advice
from solarcalc.wiring.string_checks import plan_sentence
from solarcalc.wiring.string_fuses import string_fuse_advice


def string_sentence(built: Electrical) -> str:
    """Which series counts fit the controller."""
    return plan_sentence(built.case)


def polarity_words(built: Electrical) -> tuple[str, ...]:
    """String fuses, and how polarity is tested before anything is joined."""
    return (*string_fuse_advice(built.fuses), *polarity_steps(facts_of_labels(built)))


def colour_rows() -> list[Row]:
    """Colours of cores; the local code decides."""
    return core_colour_rows()


def chain_rows(built: Electrical) -> list[Row]:
    """Voltage along the chain from modules to house at full load."""
    return [dict(row) for row in chain.chain_rows(chain.chain_of(built.site, built.sized))]


def gauge_rows() -> list[Row]:
    """Metric sizes and the wire gauge that may stand for each."""
    return [dict(row) for row in gauge.gauge_rows()]


def place_rows(built: Electrical, results: Sequence[places.PlaceResult]) -> list[Row]:
    """One row a figure, one column a place for the power room."""
    rows = places.place_rows(results, built.site.costs.currency)
    names = [str(row["place"]) for row in rows]
    figures = [figure for figure in rows[0] if figure != "place"]
    return [
        {"what": figure, **{name: row[figure] for name, row in zip(names, rows, strict=True)}}
        for figure in figures
    ]


def places_sentence(built: Electrical, results: Sequence[places.PlaceResult]) -> str:
    """What the comparison of places says."""
    return places.places_sentence(results, built.site.costs.currency)


def pipe_words(built: Electrical) -> tuple[str, ...]:
    """How the pipe is laid and the cables are drawn in."""
    return pipe_advice(built.pipe)


def state_rows(built: Electrical) -> list[Row]:
    """Where neutral and earth are joined in each state of the changeover."""
    return [dict(row) for row in protection.neutral_rows(built.plan)]


def protection_words(built: Electrical) -> tuple[str, ...]:
    """Advice on the devices; defers to local codes at its end."""
    return built.plan.notes
