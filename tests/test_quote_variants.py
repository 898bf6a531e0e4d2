"""Variants: what each does stands beside its price, and a worse one is never headlined."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.basis.quantity import grouped
from solarcalc.checking.lines import check_lines
from solarcalc.design import open_design
from solarcalc.figures.quote import draw_cash_flows
from solarcalc.quote.answer import Standing, fit_to_head, standing_rows
from solarcalc.quote.economics import Plan, economics_of
from solarcalc.sitefile.variants import OWN
from solarcalc.variants import MOST_OFFERED, figures_of, offered_variants, variants_of
from solarcalc.views.quote import fit_names, variant_rows

PLAN = Plan(
    first_price=9000.0, supplied_kwh_per_year=4000.0, generated_kwh_per_year=5200.0,
    ageing_frac=0.005, lifetime_years=20.0, interest_frac=0.08, maintenance_per_year=90.0,
    bought_per_year=0.0, today_per_kwh=0.4, price_escalation_frac=0.03, battery_price=3000.0,
    battery_years=9.3,
)  # fmt: skip
STANDINGS = some.builds(
    Standing, failed_safety=some.integers(0, 3), failed_other=some.integers(0, 3),
    essential_without_supply_h=some.integers(0, 3),
    nonessential_not_supplied_kwh=some.integers(0, 3),
    battery_years=some.floats(1.0, 20.0),
)  # fmt: skip


@settings(deadline=None, max_examples=40)
@given(some.lists(some.tuples(STANDINGS, some.floats(2000.0, 60000.0)), min_size=2, max_size=4))
def test_one_that_is_worse_is_never_headlined(drawn):
    standings = {f"option {number}.": one for number, (one, _) in enumerate(drawn)}
    economics = {
        name: economics_of(replace(PLAN, first_price=price))
        for name, (_, price) in zip(standings, drawn, strict=True)
    }  # fmt: skip
    figure = draw_cash_flows(economics, currency="USD", fit=fit_to_head(standings))
    title = figure.axes[0].get_title("left")
    for name, one in standings.items():
        worse = any(
            own > other
            for rival in standings.values() for own, other in zip(
                (one.failed_safety, one.essential_without_supply_h,
                 one.nonessential_not_supplied_kwh),
                (rival.failed_safety, rival.essential_without_supply_h,
                 rival.nonessential_not_supplied_kwh),
                strict=True)
        )  # fmt: skip
        assert not (worse and name in title)


def test_the_best_is_headlined_and_without_leave_nobody_is():
    cheap, dear = (economics_of(replace(PLAN, first_price=price)) for price in (5000.0, 9000.0))
    both = {"cheap": cheap, "dear": dear}
    title = draw_cash_flows(both, currency="USD", fit=["dear"]).axes[0].get_title("left")
    assert title.endswith(": dear")
    title = draw_cash_flows(both, currency="USD").axes[0].get_title("left")
    assert "see also supply and failed checks" in title


@cache
def base():
    return open_design("ridge-clinic")


@pytest.mark.slow
@settings(deadline=None, max_examples=5)
@given(count=some.sampled_from([7, 14, 21]), units=some.integers(1, 10),
       generator_w=some.sampled_from([0.0, 3000.0]))
def test_every_check_of_a_drawn_variant_is_run_and_shown(count, units, generator_w):
    row = {"name": "other", "array": {"module_count": count},
           "battery": {"units_in_parallel": units}, "generator": {"power_w": generator_w}}
    found = variants_of(base().changed({"variants": [row]}))
    own, other = found[OWN], found["other"]
    table = {line[""]: line for line in variant_rows(found)}
    for name, design in found.items():
        failed = [check for part in design.checks.values() for check in part
                  if check.outcome == "failed"]
        safety = sum(check.kind == "safety" for check in failed)
        assert table["failed checks of the design, safety"][name] == str(safety)
        assert table["failed checks of the design, all others"][name] == str(len(failed) - safety)
        dark = design.supply.hours_without_supply("essential")
        assert table["hours without supply, essential loads [h/year]"][name] == grouped(str(dark))
        assert float(table["expected battery service life [years]"][name]) > 0.0
    for one, rival, name in ((own, other, OWN), (other, own, "other")):
        better = zip(figures_of(one).worse, figures_of(rival).worse, strict=True)
        if any(mine > theirs for mine, theirs in better):
            assert name not in fit_names(found)


@settings(deadline=None, max_examples=4)
@given(counts=some.lists(some.sampled_from([7, 14, 21]), min_size=1, max_size=4))
def test_a_variant_is_in_the_quote_or_told_why_it_is_not(counts):
    """In the order of the file, those that no failed check of safety or supply blocks."""
    rows = [{"name": f"of {count}, {number}", "array": {"module_count": count}}
            for number, count in enumerate(counts)]
    design = base().changed({"variants": rows})
    shown, left_out = offered_variants(design)
    names = [row["name"] for row in rows]
    assert sorted([*shown, *left_out]) == sorted(names)
    sound = [name for name in names if not design.variant(name).blocking]
    assert list(shown) == sound[:MOST_OFFERED]
    lines = [line for line in check_lines(design) if "is not in the quote" in line]
    for name, line in zip(left_out, lines, strict=True):
        blocking = design.variant(name).blocking
        assert name in line
        assert (blocking[0].item if blocking else "room for") in line


def test_rows_by_hand():
    one = Standing(failed_safety=1, failed_other=2, essential_without_supply_h=3,
                   nonessential_not_supplied_kwh=4, battery_years=5.678)
    assert [row["a"] for row in standing_rows({"a": one})] == ["3", "4", "5.7", "1", "2"]
    lost = standing_rows({"a": replace(one, battery_years=None)})
    assert lost[2]["a"] == "not stated for this use"
    assert fit_to_head({"a": one}) == ("a",)
    longer = replace(one, failed_safety=0, essential_without_supply_h=9)
    assert fit_to_head({"a": one, "b": longer}) == ()
    with pytest.raises(AttributeError):
        one.failed_safety = 0
