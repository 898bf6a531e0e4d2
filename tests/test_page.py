"""What a workbook shows: escaped, one output each, results that refuse what is not a result."""

from __future__ import annotations

import base64
import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import IPython.display
import pandas as pd
import pytest
from bs4 import BeautifulSoup
from IPython.core.interactiveshell import InteractiveShell

from solarcalc import page
from solarcalc.basis.check import Check
from solarcalc.basis.errors import InputError
from solarcalc.basis.quantity import grouped, on_paper, words_and_unit
from solarcalc.basis.sourced import NO_SOURCE, Sourced

SAMPLES = Path(__file__).parent / "workbook_samples"
EVIL = '<script>alert(1)</script> $x_1$ =cmd "q" \'q\' & {{7*7}} [a](javascript:1)'


@pytest.fixture
def shown(monkeypatch: pytest.MonkeyPatch) -> list[tuple[dict[str, Any], dict[str, Any]]]:
    """Outputs in order: data and metadata."""
    outputs: list[tuple[dict[str, Any], dict[str, Any]]] = []
    monkeypatch.setattr(InteractiveShell, "initialized", lambda: True)
    monkeypatch.setattr(
        IPython.display, "publish_display_data",
        lambda data, metadata: outputs.append((data, metadata)))
    return outputs


def _check(outcome: Any, item: str = "Storage") -> Check:
    return Check(item=item, found="3", limit="2", unit="days", outcome=outcome,
                 clause=NO_SOURCE, remedy="more storage", rule="a/b", kind="supply")


def test_figure_is_one_picture_with_words(shown: list[Any]) -> None:
    from matplotlib import pyplot as plt

    fig, axes = plt.subplots()
    axes.plot([0, 1])
    page.show_figure(fig, EVIL)
    ((data, metadata),) = shown
    assert base64.b64decode(data["image/png"]).startswith(b"\x89PNG")
    assert metadata == {"image/png": {"alt": EVIL}}
    (image,) = BeautifulSoup(data["text/html"], "html.parser").find_all()
    assert (image.name, image["alt"]) == ("img", EVIL)
    assert image["src"] == f"data:image/png;base64,{data['image/png']}"
    assert not plt.fignum_exists(fig.number)


def test_figure_needs_words(shown: list[Any]) -> None:
    from matplotlib.figure import Figure

    with pytest.raises(InputError, match="alt"):
        page.show_figure(Figure(), "  ")
    assert shown == []


@pytest.mark.parametrize("show", [
    lambda: page.say(EVIL),
    lambda: page.show_table([{EVIL: EVIL}], caption=EVIL),
    lambda: page.show_table(pd.DataFrame({EVIL: [EVIL]}, index=[EVIL]), caption=EVIL),
    lambda: page.show_assumptions(
        [Sourced(label=EVIL, value=EVIL, unit=EVIL, source=EVIL)], caption=EVIL),
])
def test_names_are_only_text(shown: list[Any], show: Any) -> None:
    show()
    (data, metadata), = shown
    markup = data["text/html"]
    assert "<script" not in markup
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in markup
    assert "mathjax_ignore" in markup.split(">")[0]
    assert "alert(1)" in data["text/plain"]
    assert metadata["text/html"] == {page.PAGE_MARK: True}


def test_table_numbers_at_the_right_with_their_digits(shown: list[Any]) -> None:
    frame = pd.DataFrame(
        {"energy_kwh": [1.25, float("nan")], "count": [3, 12345], "name": ["a", "b"]})
    page.show_table(frame, caption="Energy", digits={"energy_kwh": 2})
    markup = shown[0][0]["text/html"]
    assert '<td style="text-align:right">1.25</td>' in markup
    assert '<td style="text-align:right">–</td>' in markup
    assert '<td style="text-align:right">12\u202f345</td>' in markup
    assert '<td style="text-align:left">a</td>' in markup
    assert shown[0][0]["text/plain"].splitlines()[0] == "Energy"


def test_table_shows_an_index_that_means_something(shown: list[Any]) -> None:
    page.show_table(pd.Series([1.0, 2.0], index=["Jan", "Feb"], name="sun_h"), caption="Sun")
    assert "Jan" in shown[0][0]["text/plain"]
    with pytest.raises(InputError, match="no columns"):
        page.show_table([], caption="none")


def test_no_minus_zero(shown: list[Any]) -> None:
    page.show_table([{"x": -0.001}], caption="c", digits=1)
    assert "-0.0" not in shown[0][0]["text/plain"]


def test_assumptions_travel_with_their_sources(shown: list[Any]) -> None:
    page.show_assumptions([Sourced(label="Albedo", value=0.2, unit="1", source=NO_SOURCE)])
    assert shown[0][0][page.ASSUMPTIONS_MIME] == {"assumptions": [
        {"label": "Albedo", "value": 0.2, "unit": "1", "source": NO_SOURCE}]}


def test_results_are_one_stable_output(shown: list[Any]) -> None:
    import numpy as np

    for _ in range(2):
        page.show_results(
            answer="Enough.", checks=[_check("passed"), _check("failed")],
            values={"yearly_energy_kwh": np.float64(1234.5), "loss_frac": -0.0, "days": 3})
    first, second = shown
    assert first == second
    record = first[0][page.RESULTS_MIME]
    assert record["order"] == ["yearly_energy_kwh", "loss_frac", "days"]
    assert type(record["values"]["yearly_energy_kwh"]) is float
    assert first[0]["text/plain"].splitlines()[:5] == [
        "Enough.", "", "yearly_energy_kwh = 1234.5", "loss_frac         = 0.0",
        "days              = 3"]
    assert json.loads(json.dumps(record, allow_nan=False)) == record


@pytest.mark.parametrize(("name", "value", "message"), [
    ("energy_kwh", float("nan"), "finite"),
    ("energy_kwh", float("inf"), "finite"),
    ("energy_kwh", 1 / 3, "significant digits"),
    ("Energy kWh", 1.0, "a to z"),
    ("__import__", 1.0, "a to z"),
    ("energy_kwh", [1.0], "a number or a text"),
    ("energy_kwh", None, "a number or a text"),
])
def test_results_refuse(shown: list[Any], name: str, value: Any, message: str) -> None:
    with pytest.raises(InputError, match=message):
        page.show_results(answer="Enough.", values={name: value})
    assert shown == []


def test_results_refuse_without_an_answer(shown: list[Any]) -> None:
    with pytest.raises(InputError, match="sentence"):
        page.show_results(answer=" ", values={})


@pytest.mark.parametrize(("name", "words", "unit"), [
    ("yearly_energy_kwh", "yearly energy", "kWh"),
    ("sun_kwh_per_m2", "sun", "kWh/m²"),
    ("tilt_deg", "tilt", "°"),
    ("module_count", "module count", ""),
    ("way", "way", ""),
])
def test_names_in_words(name: str, words: str, unit: str) -> None:
    assert words_and_unit(name) == (words, unit)


def test_numbers_on_paper() -> None:
    assert on_paper("loss_frac", 0.07) == ("loss", "7", "%")
    assert on_paper("loss_frac", 0.0715) == ("loss", "7.15", "%")
    assert on_paper("state_frac", "none") == ("state", "none", "")
    assert grouped("-12345.5") == "−12\u202f345.5"
    assert grouped("1234") == "1234"


@pytest.mark.slow
def test_nbval_sees_a_changed_number(tmp_path: Path) -> None:
    """The results cell is compared: as committed it passes, with one digit changed it fails."""
    good, bad = tmp_path / "good.ipynb", tmp_path / "bad.ipynb"
    shutil.copy(SAMPLES / "second.ipynb", good)
    text = good.read_text(encoding="utf-8")
    assert text.count("battery_kwh = 9.6") == 1
    bad.write_text(text.replace("battery_kwh = 9.6", "battery_kwh = 9.7"), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "--nbval-lax", "-q", "-p", "no:cacheprovider",
         "-p", "no:xdist", "--rootdir", str(tmp_path), str(good), str(bad)],
        cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 1, done.stdout
    failed = [line for line in done.stdout.splitlines() if line.startswith("FAILED")]
    assert len(failed) == 1, done.stdout
    assert failed[0].startswith("FAILED bad.ipynb::Cell 4")
    assert "9.7" in done.stdout
