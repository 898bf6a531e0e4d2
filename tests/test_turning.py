"""Where portrait and landscape change places: strips of shade, and one thing changed at a time."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from solarcalc.circuit.strings import kept_by_circuit_frac
from solarcalc.design import open_design
from solarcalc.stages.array import array_kwh_per_kwp, standing
from solarcalc.views import shaded_band
from solarcalc.views.orientation import compare_orientations, sigma_of_lead_frac


@pytest.fixture(scope="module")
def clinic():
    return open_design(Path(__file__).with_name("frozen") / "ridge-clinic.toml")


def _curves(landscape, portrait):
    return pd.concat(
        [
            pd.DataFrame({"orientation": name, "depth_frac": shaded_band.DEPTHS, "kept_frac": kept})
            for name, kept in (("landscape", landscape), ("portrait", portrait))
        ],
        ignore_index=True,
    )


def test_leads_by_hand():
    depths = shaded_band.DEPTHS
    portrait = np.full(len(depths), 0.5)
    landscape = np.where(depths < 0.3, 0.7, np.where(depths < 0.5, 0.5, 0.2))
    found = shaded_band.leads(_curves(landscape, portrait))
    assert [name for name, _, _ in found] == ["landscape", "portrait"]
    assert found[0][1:] == pytest.approx((0.0, 0.3), abs=0.01)
    assert found[1][1:] == pytest.approx((0.5, 1.0), abs=0.01)
    assert shaded_band.leads(_curves(portrait, portrait)) == []


def test_curves_are_those_of_the_circuit(clinic):
    hour = shaded_band.shaded_hour(clinic)
    curves = shaded_band.shaded_band_curves(clinic, hour)
    assert hour.hours > 100
    for name in ("portrait", "landscape"):
        part = curves[curves["orientation"] == name].reset_index()
        assert part["kept_frac"].iloc[0] == pytest.approx(1.0)
        assert (part["climbing_frac"] <= part["kept_frac"] + 1e-9).all()
        some = [20, 47, 90]
        best, sits = kept_by_circuit_frac(
            part["depth_frac"].iloc[some], hour.left_frac, hour.weather.light_w_m2,
            hour.weather.cell_c, strung=shaded_band.behind(clinic, name),
        )  # fmt: skip
        # Fewer points on a curve here, for a picture: within the table's own one point.
        assert part["kept_frac"].iloc[some].to_numpy() == pytest.approx(best, abs=0.002)
        assert part["climbing_frac"].iloc[some].to_numpy() == pytest.approx(sits, abs=0.002)


def test_half_cut_modules_turn_the_lead_and_full_ones_do_not(clinic):
    # Little diffuse light. Half-cut in portrait: the upper half goes on until the strip is
    # past the middle; there portrait is ahead of landscape, which has lost two thirds.
    hour = replace(shaded_band.shaded_hour(clinic), left_frac=0.1)
    half = shaded_band.leads(shaded_band.shaded_band_curves(clinic, hour))
    assert [name for name, _, _ in half] == ["landscape", "portrait", "landscape"]
    assert half[1][1:] == pytest.approx((0.38, 0.52), abs=0.03)
    full = clinic.changed({"module": {"cell_build": "full"}})
    assert {name for name, _, _ in shaded_band.leads(shaded_band.shaded_band_curves(full,
                                                                                    hour))} == {
        "landscape"
    }


def test_an_array_without_shade_says_that_its_hour_is_made_up():
    shop = open_design("orchard-shop")
    hour = shaded_band.shaded_hour(shop)
    assert hour.hours == 0
    sentence = shaded_band.leads_sentence(shop, hour, shaded_band.shaded_band_curves(shop, hour))
    assert "assumed hour" in sentence


@pytest.mark.slow
def test_each_change_is_made_alone(clinic):
    table = {row["changed parameter"]: row for row in shaded_band.what_would_change(clinic)}
    first = table["as designed"]
    for name in ("portrait", "landscape"):
        stands = standing(clinic, name)
        alone = array_kwh_per_kwp(
            clinic, stands.rows, pitch_m=stands.pitch_m, row_count=clinic.site.array.rows
        )
        assert first[f"{name} [kWh/kWp]"] == pytest.approx(alone)
        tight = array_kwh_per_kwp(
            clinic, stands.rows, pitch_m=stands.rows.least_pitch_m,
            row_count=clinic.site.array.rows,
        )  # fmt: skip
        assert table["rows at the smallest pitch"][f"{name} [kWh/kWp]"] == pytest.approx(tight)
        assert table["MPPT that stays on a local maximum"][f"{name} [kWh/kWp]"] <= first[
            f"{name} [kWh/kWp]"
        ] * (1.0 + 1e-9)
    # Close rows: the strip is deep and often there, and landscape keeps clearly more.
    assert table["rows at the smallest pitch"]["advantage"] == "landscape"
    assert "modules with full cells" in table
    assert "rows at the smallest pitch" in shaded_band.turns_sentence(list(table.values()))


def test_changes_that_cannot_matter_are_left_out():
    names = [row["changed parameter"] for row in shaded_band.what_would_change(
        open_design("orchard-shop"))]  # fmt: skip
    assert names == ["as designed", "double soiling rate"]


def test_lead_and_its_words_by_hand():
    assert shaded_band.lead_percent({"portrait": 1000.0, "landscape": 1010.0}) == pytest.approx(1.0)
    assert shaded_band.lead_percent({"portrait": 0.0, "landscape": 0.0}) == 0.0
    lines = [
        {"changed parameter": name, "landscape over portrait [%]": ahead, "advantage": leader}
        for name, ahead, leader in (
            ("as is", 0.0, "none"), ("one", 1.25, "landscape"), ("two", 0.1, "none"),
        )
    ]  # fmt: skip
    assert shaded_band.turns_sentence(lines) == (
        "Per module there is no difference between the orientations."
        " This changes with: one (+1.2 %)."
    )
    assert "none of these" in shaded_band.turns_sentence(lines[:1])


def test_sureness_of_the_lead_by_hand(clinic):
    variants = compare_orientations(clinic)
    losses = {"shade_loss_frac": 0.04, "dirt_band_loss_frac": 0.03, "mask_loss_frac": 0.0,
              "box_loss_frac": 0.02, "dust_loss_frac": 0.01}  # fmt: skip
    none = {"shade_loss_frac": 0.0, "dirt_band_loss_frac": 0.0, "mask_loss_frac": 0.0,
            "box_loss_frac": 0.02, "dust_loss_frac": 0.01}  # fmt: skip
    tried = {
        "portrait": replace(variants["portrait"], **losses),
        "landscape": replace(variants["landscape"], **none),
    }
    assert sigma_of_lead_frac(tried) == pytest.approx(0.025)
