"""[quote] of the site file."""

from __future__ import annotations

import runpy
from pathlib import Path

from solarcalc.basis.files import demo_sites
from solarcalc.sitefile.read import read_site

PLAIN = runpy.run_path(str(Path(__file__).with_name("plain_site.py")))


def _read(folder, text):
    path = folder / "site.toml"
    path.write_text(PLAIN["plain_text"](demo_sites()["ridge-clinic"]) + text, "utf-8")
    return read_site(path).site


def test_a_sound_quote_is_read(tmp_path):
    text = "\n[quote]\ninverter_years = 12.0\nreplaced_fuel_l_per_kwh = 0.5\n"
    quote = _read(tmp_path, text).quote
    assert (quote.inverter_years, quote.replaced_fuel_l_per_kwh) == (12.0, 0.5)
    assert _read(tmp_path, "").quote.inverter_years is None
