"""[quote] of the site file: alternatives that are none, or whose strings do not come out even."""

from __future__ import annotations

import runpy
from pathlib import Path

import pytest

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.sitefile.read import read_site

PLAIN = runpy.run_path(str(Path(__file__).with_name("plain_site.py")))


def _read(folder, text):
    path = folder / "site.toml"
    path.write_text(PLAIN["plain_text"](demo_sites()["ridge-clinic"]) + text, "utf-8")
    return read_site(path).site


def _alternative(name, *keys):
    return "\n".join(["", "[[quote.alternatives]]", f'name = "{name}"', *keys, ""])


def test_a_sound_quote_is_read(tmp_path):
    text = "\n[quote]\ninverter_years = 12.0\nreplaced_fuel_l_per_kwh = 0.5\n"
    text += _alternative("Less", "module_count = 7") + _alternative("More", "generator_w = 0.0")
    quote = _read(tmp_path, text).quote
    assert (quote.inverter_years, quote.replaced_fuel_l_per_kwh) == (12.0, 0.5)
    assert [one.name for one in quote.alternatives] == ["Less", "More"]
    assert _read(tmp_path, "").quote.inverter_years is None


@pytest.mark.parametrize(
    ("text", "place", "allowed"),
    [
        (_alternative("Odd", "module_count = 13"), "[1].module_count", "7 or 14"),
        (_alternative("Same"), "[1].name", "one or more of module_count"),
        (_alternative("A b", "generator_w = 1.0") + _alternative("a  B", "generator_w = 2.0"),
         "[2].name", "a different name"),
    ],
)  # fmt: skip
def test_an_alternative_that_is_none_is_refused(tmp_path, text, place, allowed):
    with pytest.raises(InputError) as error:
        _read(tmp_path, text)
    (fault,) = error.value.faults
    assert allowed in fault.allowed
    assert fault.where.startswith(f"site.toml: quote.alternatives{place}")
