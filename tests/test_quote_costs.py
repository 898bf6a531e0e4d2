"""[costs] comes out of the price list, in its currency, but for what the site file gives."""

from __future__ import annotations

import re
import shutil
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder, demo_sites
from solarcalc.design import open_design
from solarcalc.sitefile.quote import IN_MONEY
from solarcalc.views import arrays_tried, electrical

INVENTED = (data_folder() / "prices" / "invented.toml").read_text(encoding="utf-8")
ROWS = tomllib.loads(INVENTED)["prices"]
SITES = sorted(demo_sites())


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder of the demo sites, where a test writes price lists of its own."""
    path = tmp_path_factory.mktemp("sites")
    for name in ("sites", "weather"):
        shutil.copytree(data_folder() / name, path / name)
    return path / "sites"


def listed(folder, name, rows, currency="SHL"):
    """A price list with these rows; the changes of a site file that name it."""
    lines = [f'  {{ item = "{row["item"]}", unit = "{row["unit"]}", price = {row["price"]!r} }},'
             for row in rows]
    (folder / f"{name}.toml").write_text(
        f'name = "Ours"\ncurrency = "{currency}"\nprices = [\n' + "\n".join(lines) + "\n]\n",
        encoding="utf-8")
    return {"quote": {"price_list": f"{name}.toml"}}


def times(factor, rows=ROWS):
    return [{**row, "price": row["price"] * factor} for row in rows]


def money(design):
    return {key: getattr(design.site.costs, key) for key in IN_MONEY}


@settings(max_examples=10, deadline=None)
@given(stem=some.sampled_from(SITES), factor=some.sampled_from([0.25, 2.0, 140.0]))
def test_all_prices_so_many_times_are_all_costs_so_many_times(folder, stem, factor):
    path = folder / f"{stem}.toml"
    once = open_design(path, listed(folder, "once", ROWS))
    quote = once.site.quote
    more = listed(folder, f"more-{factor:g}", times(factor))
    more["quote"] |= {"fuel_price_per_l": factor * quote.fuel_price_per_l,
                      "grid_tariff_per_kwh": factor * quote.grid_tariff_per_kwh}
    other = open_design(path, more)
    for key, sum_of_one in money(once).items():
        assert money(other)[key] == pytest.approx(factor * sum_of_one)


def test_a_unit_of_money_leaves_the_choice_of_cable_as_it_is(folder):
    path = folder / "orchard-shop.toml"
    once = open_design(path)
    more = listed(folder, "doubled", times(2.0))
    more["quote"] |= {"fuel_price_per_l": 2.0 * once.site.quote.fuel_price_per_l,
                      "grid_tariff_per_kwh": 2.0 * once.site.quote.grid_tariff_per_kwh}
    other = open_design(path, more)
    for one, two in zip(once.electrical.sized, other.electrical.sized, strict=True):
        assert (one.size_name, one.in_parallel) == (two.size_name, two.in_parallel)
        assert two.cost == pytest.approx(2.0 * one.cost)
        assert two.lifetime_cost == pytest.approx(2.0 * one.lifetime_cost)


def test_costs_of_the_clinic_by_hand():
    """Prices of invented.toml, hours of task_hours.csv: sums done by hand."""
    design = open_design("ridge-clinic")
    site, costs = design.site, design.site.costs
    # 0.26 a W, two clamps at 1.40, 0.45 h of an installer at 6.00
    assert costs.per_module == pytest.approx(0.26 * site.module.pmax_w + 2.80 + 2.70)
    # two rails: 4.50 a metre, 0.06 h; every 1.2 m a foot of 4.00 with 0.13 h
    assert costs.per_metre_of_row == pytest.approx(2 * (4.50 + 0.36 + (4.00 + 0.78) / 1.2))
    # 3.50, 0.45 h of a mason at 5.00, 0.25 h of an electrician at 9.00
    assert costs.per_metre_of_trench == pytest.approx(3.50 + 2.25 + 2.25)
    # 210 a kWh, 0.4 h at 9.00
    assert costs.per_battery_unit == pytest.approx(0.21 * site.battery.unit_wh + 3.60)
    assert costs.per_metre_of_core == pytest.approx(0.035 * 9.00)
    assert (costs.per_m_mm2_of_copper, costs.per_m_mm2_of_aluminium) == (0.13, 0.035)
    assert costs.per_cleaning == pytest.approx(site.array.module_count * 0.03 * 6.00)
    assert costs.per_fuel_l == site.quote.fuel_price_per_l
    assert costs.per_kwh_lost == site.quote.grid_tariff_per_kwh


@settings(max_examples=20, deadline=None)
@given(keys=some.sets(some.sampled_from(IN_MONEY)), value=some.floats(0.0, 1e4))
def test_a_key_that_the_site_file_gives_goes_first(keys, value):
    plain = money(open_design("ridge-clinic"))
    found = open_design("ridge-clinic", {"costs": dict.fromkeys(keys, value)})
    assert money(found) == plain | dict.fromkeys(keys, value)
    assert found.site.costs.model_fields_set == keys


def test_a_change_counts_costs_anew():
    base = open_design("ridge-clinic")
    changed = base.changed({"quote": {"grid_tariff_per_kwh": 3.0}})
    assert changed.site.costs.per_kwh_lost == 3.0
    assert changed.changed({"costs": {"per_kwh_lost": 0.5}}).site.costs.per_kwh_lost == 0.5


def test_every_page_speaks_the_currency_of_the_list(folder):
    design = open_design(folder / "coral-pharmacy.toml", listed(folder, "shells", ROWS))
    assert design.site.costs.currency == design.offer.currency == "SHL"
    places = electrical.places_of(design)
    assert "[SHL]" in electrical.places_sentence(design, places)
    assert any("[SHL]" in str(row["Quantity"]) for row in electrical.place_rows(design, places))
    assert arrays_tried.costs_of(design).per_module == design.site.costs.per_module
    texts = [*Path(__file__).parents[1].glob("solarcalc/**/*.py"),
             *data_folder().glob("**/*.toml"),
             *Path(__file__).parents[1].glob("workbooks/*.ipynb")]
    assert not [path for path in texts if "module prices" in path.read_text(encoding="utf-8")]


def without(*items):
    return [row for row in ROWS if row["item"] not in items]


@pytest.mark.parametrize(("item", "key"), [
    ("module", "per_module"), ("mid-clamp", "per_module"), ("rail", "per_metre_of_row"),
    ("battery", "per_battery_unit"), ("inverter", "fixed"),
])  # fmt: skip
def test_a_list_without_an_item_is_named_with_item_key_and_what_to_do(folder, item, key):
    path, short = folder / "ridge-clinic.toml", listed(folder, "short", without(item))
    with pytest.raises(InputError) as caught:
        open_design(path, short)
    (fault,) = [one for one in caught.value.faults if f"costs.{key} " in one.why]
    assert fault.where == f"short.toml: {item}"
    assert re.search(rf"add a row '{item}', or enter costs\.{key}", fault.remedy)
    given = {**short, "costs": dict.fromkeys(IN_MONEY, 1.0)}
    assert open_design(path, given).site.costs.currency == "SHL"


def test_cable_by_the_metre_and_size_gives_a_line_through_its_sizes(folder):
    """By hand: 0.50 + 0.10 a mm2 for copper; aluminium 0.50 + 0.04 a mm2."""
    sizes = [{"item": f"cable-{metal}-{mm2:g}mm2", "unit": "m", "price": 0.50 + per_mm2 * mm2}
             for metal, per_mm2 in (("copper", 0.10), ("aluminium", 0.04))
             for mm2 in (4.0, 10.0, 16.0, 35.0)]
    plain = [row for row in ROWS if not row["item"].startswith("cable-")]
    costs = open_design(folder / "ridge-clinic.toml",
                        listed(folder, "sizes", plain + sizes)).site.costs
    assert costs.per_m_mm2_of_copper == pytest.approx(0.10)
    assert costs.per_m_mm2_of_aluminium == pytest.approx(0.04)
    assert costs.per_metre_of_core == pytest.approx(0.50 + 0.035 * 9.00)


def test_aluminium_is_asked_for_only_where_a_run_is_of_it(folder):
    path, short = folder / "ridge-clinic.toml", listed(folder, "copper", without("cable-aluminium"))
    design = open_design(path, short)
    assert design.site.costs.per_m_mm2_of_aluminium == design.site.costs.per_m_mm2_of_copper
    with pytest.raises(InputError, match="cable-aluminium"):
        design.changed({"runs": {"dc_main": {"material": "aluminium"}}})
