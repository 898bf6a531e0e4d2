"""Panels: any key is a control, picture and numbers are those of the design, no drag queues."""

from __future__ import annotations

import ast
import asyncio
import copy
import html
import json
import re
import time
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import ipywidgets as widgets
import pytest
from hypothesis import given
from hypothesis import strategies as st
from IPython.core.interactiveshell import InteractiveShell

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder, workbooks_folder
from solarcalc.basis.quantity import grouped
from solarcalc.design import Design, open_design
from solarcalc.panels import kept, pictures
from solarcalc.panels import panel as panel_module
from solarcalc.panels.charts import TITLE_LETTER, Chart, bar_list, framed, round_step, ticks_of
from solarcalc.panels.controls import Setting, setting_of_key, setting_of_range, widget_of
from solarcalc.panels.kept import STATE
from solarcalc.panels.live import Live
from solarcalc.panels.panel import Drawn, Panel, panel, taken_by_design
from solarcalc.quote.offer import Offer
from solarcalc.sitefile.changes import put_in
from solarcalc.sitefile.equipment import bundled_equipment, list_of
from solarcalc.sitefile.keys import LABELS, changes_of, key_of, loc_of, plain_keys
from solarcalc.variants import figures_of

SITES = data_folder() / "sites"


@pytest.fixture(scope="module")
def design() -> Design:
    return open_design("ridge-clinic")


@pytest.fixture(autouse=True)
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(STATE, str(tmp_path / "state"))
    return tmp_path / "state"


def made(design: Design, *keys: str, picture: Any = pictures.months) -> Panel:
    return Panel(design, [setting_of_key(design.site, key) for key in keys], picture)


def svgs(text: str) -> Iterator[ET.Element]:
    for found in re.findall(r"<svg.*?</svg>", text, re.DOTALL):
        yield ET.fromstring(found)


@pytest.mark.parametrize(("key", "low", "high", "unit"), [
    ("array.tilt_deg", 0.0, 90.0, "°"),
    ("battery.min_soc_frac", 0.0, 1.0, "0 to 1"),
    ("earthing.rod_count", 1.0, 24.0, ""),
])
def test_a_slider_has_limits_and_unit_of_the_record(
    design: Design, key: str, low: float, high: float, unit: str
) -> None:
    setting = setting_of_key(design.site, key)
    assert (setting.low, setting.high, setting.unit) == (low, high, unit)
    widget = widget_of(setting)
    assert widget.continuous_update is True
    assert unit in widget.description


def test_choices_and_tick_boxes(design: Design) -> None:
    choice = widget_of(setting_of_key(design.site, "array.orientation"))
    assert [value for _, value in choice.options] == ["portrait", "landscape"]
    assert widget_of(setting_of_key(design.site, "protection.lightning_protection")).value is False


def test_strings_stay_whole(design: Design) -> None:
    setting = setting_of_key(design.site, "array.module_count")
    assert setting.step == design.site.array.modules_in_series
    assert setting.low % setting.step == setting.high % setting.step == 0.0


@pytest.mark.parametrize(("key", "words"), [
    ("array.tilt", "did you mean array.tilt_deg"), ("array", "no table or list"),
    ("units_in_parallel", "did you mean battery.units_in_parallel"),
    ("site.use", "a key of the site file"),
    ("loads.essential[99].count", "row 99"), ("loads.essential[0].count", "count from [1]"),
])
def test_a_key_that_is_none_is_told(design: Design, key: str, words: str) -> None:
    with pytest.raises(InputError, match=re.escape(words)):
        setting_of_key(design.site, key)


def test_a_range_beyond_the_record_is_refused(design: Design) -> None:
    with pytest.raises(InputError, match="within 0 to 90"):
        setting_of_key(design.site, "array.tilt_deg", (0.0, 120.0, 1.0))


@pytest.mark.parametrize("range_", [(0.0, 40.0), (40.0, 0.0, 1.0), (0.0, 40.0, 0.0), ("0", 1, 1)])
def test_a_range_of_another_form_is_refused(design: Design, range_: Any) -> None:
    with pytest.raises(InputError, match=r"low, high, step|low below high"):
        setting_of_key(design.site, "array.tilt_deg", range_)


@pytest.mark.parametrize(("key", "words"), [
    ("array.orientation", "array.orientation is a choice of portrait, landscape"),
    ("protection.lightning_protection", "protection.lightning_protection is true or false"),
    ("site.name", "site.name is a text"),
])
def test_a_range_of_what_is_no_number_is_refused(design: Design, key: str, words: str) -> None:
    with pytest.raises(InputError) as told:
        panel(design, key, ranges={key: (0.0, 1.0, 1.0)})
    assert f"range of {key}" in str(told.value)
    assert "given:   (0.0, 1.0, 1.0)" in str(told.value)
    assert words in str(told.value)


def test_a_range_without_its_control_is_refused(design: Design) -> None:
    with pytest.raises(InputError, match="no control of this panel"):
        panel(design, "array.tilt_deg", ranges={"array.tilt": (0, 40, 1)})


def test_ranges_of_functions() -> None:
    slider = widget_of(setting_of_range("tilt_deg", (0, 60, 5, 10)))
    assert (slider.min, slider.max, slider.step, slider.value) == (0, 60, 5, 10)
    assert slider.description == "tilt [°]"
    assert setting_of_range("loss_frac", (0.0, 1.0, 0.1)).words == "loss [0 to 1]"
    assert widget_of(setting_of_range("way", ["portrait", "landscape"])).value == "portrait"
    with pytest.raises(InputError, match="explore: tilt_deg"):
        setting_of_range("tilt_deg", "10")


@pytest.mark.parametrize("picture", [
    pictures.months, pictures.losses, pictures.week, pictures.roof, pictures.drops, pictures.rods,
    pictures.prices,
])  # fmt: skip
def test_every_picture_is_a_drawing_with_words_and_a_ghost(design: Design, picture: Any) -> None:
    text = picture(design.changed({"array": {"tilt_deg": 12.0}}), design)
    drawings = list(svgs(text))
    assert drawings
    assert drawings[0].attrib["aria-label"]
    assert "stroke-dasharray" in text
    assert len(text) < 20000


def test_a_move_shows_the_changed_design_and_its_numbers(design: Design) -> None:
    panel = made(design, "array.tilt_deg", "battery.units_in_parallel")
    before = panel.live.picture.value
    panel.live.controls["battery.units_in_parallel"].value = 3
    tried = design.changed({"battery": {"units_in_parallel": 3}})
    found = figures_of(tried)
    assert panel.live.picture.value == pictures.months(tried, design)
    assert f"{found.essential_without_supply_h} h/year" in panel.live.numbers.value
    share = 100.0 * found.supplied_kwh / found.demand_kwh
    assert float(re.findall(r"([\d.]+) %", panel.live.numbers.value)[0]) == pytest.approx(
        share, abs=0.06)
    assert f">{found.failed_safety + found.failed_other}<" in panel.live.numbers.value
    panel.live.rest()
    assert panel.live.picture.value == before
    assert "<strong>" not in panel.live.numbers.value


def test_a_row_of_a_list_can_be_moved(design: Design) -> None:
    panel = made(design, "loads.essential[1].power_w", picture=pictures.week)
    control = panel.live.controls["loads.essential[1].power_w"]
    control.value = control.max
    changes = panel._tried.changes(panel.live.values())
    rows = changes["loads"]["essential"]
    assert rows[0]["power_w"] == control.max
    assert rows[1:] == design.sitefile.written["loads"]["essential"][1:]


def test_a_refused_value_is_a_box(design: Design) -> None:
    panel = made(design, "battery.min_soc_frac")
    panel.live.controls["battery.min_soc_frac"].value = 1.0
    assert 'class="example' in panel.live.picture.value
    assert "battery" in panel.live.picture.value
    assert "Traceback" not in panel.live.numbers.value


def test_a_drag_does_not_queue_and_the_latest_wins() -> None:
    drawn: list[float] = []

    def draw(tilt_deg: float) -> str:
        time.sleep(0.02)
        drawn.append(tilt_deg)
        return f"<svg>{tilt_deg}</svg>"

    live = Live(Drawn(draw, None, {}), [setting_of_range("tilt_deg", (0.0, 90.0, 1.0))])

    async def drag() -> None:
        for tilt_deg in range(1, 41):
            live.controls["tilt_deg"].value = float(tilt_deg)  # ten come in during one picture
            await asyncio.sleep(0.001 if tilt_deg % 10 == 0 else 0.0)
        while live._task is not None and not live._task.done():
            await asyncio.sleep(0.005)

    asyncio.run(drag())
    assert live.picture.value == "<svg>40.0</svg>"
    assert drawn[-1] == 40.0
    assert len(drawn) <= 6


def test_numbers_are_given_up_for_a_later_move() -> None:
    begun: list[float] = []
    done: list[float] = []

    class Slow:
        def picture(self, values: Any) -> str:
            return "<svg/>"

        def steps(self, values: Any) -> Iterator[None]:
            begun.append(values["x_m"])
            for _ in range(10):
                time.sleep(0.005)
                yield

        def numbers(self, values: Any) -> str:
            done.append(values["x_m"])
            return str(values["x_m"])

    live = Live(Slow(), [setting_of_range("x_m", (0, 10, 1))])

    async def move() -> None:
        live.controls["x_m"].value = 1
        await asyncio.sleep(0.02)
        live.controls["x_m"].value = 2
        while live._task is not None and not live._task.done():
            await asyncio.sleep(0.005)

    asyncio.run(move())
    assert begun[-1] == 2
    assert done == [2]
    assert live.numbers.value.startswith("2")


def test_ticks_are_round_and_inside() -> None:
    for low, high in ((0.0, 1.0), (-3.2, 7.9), (0.0, 12345.0), (0.0, 0.0031)):
        ticks = ticks_of(low, high)
        assert 2 <= len(ticks) <= 8
        assert low - 1e-9 <= ticks[0] <= ticks[-1] <= high + 1e-9
    assert [round_step(least) for least in (0.011, 0.3, 7.0, 0.0)] == [0.02, 0.5, 10.0, 1.0]


def test_charts_place_values_to_scale() -> None:
    chart = Chart(x=(0.0, 10.0), y=(0.0, 100.0), title="t")
    chart.line([0.0, 5.0, 10.0], [0.0, 50.0, 100.0])
    (drawing,) = svgs(chart.svg())
    path = [part.attrib["d"] for part in drawing.iter() if part.attrib.get("stroke-width") == "2.0"]
    points = [tuple(map(float, pair.split())) for pair in re.findall(r"[\d.]+ [\d.]+", path[0])]
    (x0, y0), (x1, y1), (x2, y2) = points
    assert x1 == pytest.approx((x0 + x2) / 2.0, abs=0.1)
    assert y1 == pytest.approx((y0 + y2) / 2.0, abs=0.1)
    assert y2 < y0


def test_words_in_a_drawing_are_escaped() -> None:
    evil = '<script>alert("1")</script>'
    text = bar_list([evil], [1.0], [1.0], title=evil, words=evil)
    assert "<script" not in text
    list(svgs(text))


@pytest.mark.parametrize("site", ["ridge-clinic", "valley-workshop", "harmattan-clinic"])
def test_every_key_with_one_value_is_a_control_within_its_limits(site: str) -> None:
    record, sliders = open_design(site).site, 0
    refused: list[str] = []
    for name in plain_keys():
        try:
            setting = setting_of_key(record, name)
        except InputError as error:
            refused.append(str(error))
            continue
        widget = widget_of(setting)
        assert widget.description
        if setting.slides and setting.key is not None:
            sliders += 1
            assert setting.key.low <= setting.low < setting.high <= setting.key.high, name
            assert not (setting.key.above and setting.low == setting.key.low), name
            if setting.start is not None:
                assert setting.low - 1e-9 <= setting.start <= setting.high + setting.step, name
    assert sliders > 200
    assert all("no table or list" in told for told in refused)


@given(values=st.dictionaries(
    st.sampled_from(["array.tilt_deg", "runs.dc_main.length_m", "battery.units_in_parallel",
                     "loads.essential[1].power_w", "loads.essential[2].count"]),
    st.integers(1, 9)))  # fmt: skip
def test_changes_set_what_they_say_and_nothing_else(values: dict[str, int]) -> None:
    written = {"array": {"tilt_deg": 30.0, "rows": 2}, "battery": {"units_in_parallel": 1},
               "loads": {"essential": [{"power_w": 5.0}, {"count": 7}, {"power_w": 8.0}]}}
    before = copy.deepcopy(written)
    changes = changes_of(written, {loc_of(key): value for key, value in values.items()})
    assert written == before
    after = put_in(written, changes)
    for key, value in values.items():
        found: Any = after
        for part in loc_of(key):
            found = found[part]
        assert found == value
    assert len(after["loads"]["essential"]) == 3
    assert after["array"]["rows"] == 2
    assert after["loads"]["essential"][2] == {"power_w": 8.0}


def test_a_cell_run_again_lets_its_former_panel_go(
    design: Design, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two panels of one run stay, and those of another cell or of an unnamed one."""
    shell = SimpleNamespace(execution_count=1, InteractiveTB=None)
    monkeypatch.setattr(InteractiveShell, "initialized", lambda: True)
    monkeypatch.setattr(InteractiveShell, "instance", lambda: shell)
    shown: list[Any] = []

    def run(number: int, cell: str | None) -> None:
        shell.execution_count = number
        shell.get_parent = lambda: {"metadata": {"cellId": cell} if cell else {}}
        widget = widgets.VBox(list(made(design, "array.tilt_deg").live.controls.values()))
        shown.append(widget)
        panel_module._close_former(widget)

    for number, cell in [(1, "a"), (1, "a"), (2, "b"), (3, None), (4, "a")]:
        run(number, cell)
    assert [one.comm is None for one in shown] == [True, True, False, False, False]
    assert [one.children[0].comm is None for one in shown] == [True, True, False, False, False]


WORKBOOK_KEYS = sorted({
    (path.stem, argument.value)
    for path in workbooks_folder().glob("*.ipynb")
    for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]
    if "explore" in cell["metadata"].get("tags", []) and cell["cell_type"] == "code"
    for call in ast.walk(ast.parse("".join(cell["source"])))
    if isinstance(call, ast.Call) and getattr(call.func, "id", "") == "panel"
    for argument in call.args[1:] if isinstance(argument, ast.Constant)
})  # fmt: skip


def test_what_workbooks_offer_is_called_by_words_and_not_by_its_table() -> None:
    assert len(WORKBOOK_KEYS) > 20
    labels = {key: key_of(key).label for _, key in WORKBOOK_KEYS}
    assert {key: label for key, label in labels.items() if ":" in label or "soc" in label} == {}
    assert len(set(labels.values())) == len(labels)
    assert LABELS.keys() <= labels.keys()


@pytest.mark.parametrize("stem", ["ridge-clinic", "lagoon-house", "valley-workshop"])
@pytest.mark.parametrize("key", ["array.row_pitch_m", "runs.dc_main.ambient_c"])
def test_a_slider_at_rest_shows_what_the_design_takes(stem: str, key: str) -> None:
    """What the site file leaves open: the handle stands at it, and set there nothing changes."""
    own = open_design(stem)
    setting = setting_of_key(own.site, key)
    assert setting.start is None
    taken = taken_by_design(own, key)
    assert taken is not None
    setting = replace(setting, taken=taken)
    shown = widget_of(setting)
    nearest = min(max(taken, setting.low), setting.high)
    assert abs(shown.value - nearest) <= 0.5 * setting.step + 1e-9
    assert shown.description.endswith("as designed")
    shown.value += -setting.step if setting.rests == setting.high else setting.step
    assert shown.description == setting.words
    shown.value = setting.rests
    assert shown.description.endswith("as designed")


def test_a_slider_of_what_nobody_knows_shows_no_number_until_it_is_moved(design: Design) -> None:
    setting = Setting(name="x", label="x", unit="m", start=None, low=1.0, high=9.0, step=0.5)
    shown = widget_of(setting)
    assert (shown.readout, shown.description) == (False, "x [m], as designed")
    shown.value = 3.0
    assert (shown.readout, shown.description) == (True, "x [m]")


@given(step=st.sampled_from([0.0005, 0.0025, 0.02, 0.05, 0.25, 0.3, 0.5, 1.0, 5.0]),
       steps=st.integers(0, 40))
def test_a_slider_shows_its_value_whole(step: float, steps: int) -> None:
    """A step of 0.0025 has four decimals: in three, 0.0325 was shown as 0.033."""
    low = round(2 * step, 9)
    setting = Setting(name="x", label="x", unit="", start=low + steps * step, low=low,
                      high=low + 40 * step, step=step)  # fmt: skip
    shown = widget_of(setting)
    assert float(format(shown.value, shown.readout_format)) == pytest.approx(shown.value, abs=1e-9)


bars = st.floats(0.0, 50.0, allow_nan=False)


@given(rows=st.lists(st.tuples(bars, bars, bars), min_size=1, max_size=8))
def test_no_number_of_a_bar_lies_across_the_stroke_of_its_limit(
    rows: list[tuple[float, float, float]]
) -> None:
    values, ghosts, limits = zip(*rows, strict=True)
    drawn = bar_list([f"n{row}" for row in range(len(rows))], values, ghosts, title="t", words="w",
                     limits=limits, digits=2)  # fmt: skip
    texts = re.findall(r'<text x="([\d.]+)" y="\d+">([\d.]+)</text>', drawn)
    strokes = re.findall(r'<path d="M([\d.]+) ', drawn)
    assert len(texts) == len(strokes) == len(rows)
    for (begins, said), stroke in zip(texts, strokes, strict=True):
        assert not float(begins) - 2.0 < float(stroke) < float(begins) + 6.5 * len(said)


@pytest.mark.parametrize("plane", ["West", "East"])
def test_a_panel_of_one_roof_plane_has_the_numbers_of_the_whole_site(
    plane: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its price is the offer's; what is moved is that plane's, and a kept variant says so."""
    whole, shown = open_design("valley-workshop"), list[Panel]()
    monkeypatch.setattr(panel_module, "_display", lambda *_: None)
    made = panel_module.Panel
    monkeypatch.setattr(panel_module, "Panel",
                        lambda *given: shown.append(made(*given)) or shown[-1])  # fmt: skip
    panel(whole.on_plane(plane), "array.tilt_deg", picture=pictures.roof)
    live = shown[0].live
    assert isinstance(whole.offer, Offer)
    assert f"{grouped(f'{whole.offer.total:.0f}')} USD" in live.numbers.value
    (control,) = live.controls.values()
    control.value = 30.0
    changes = shown[0]._tried.changes(live.values())
    turned = whole.changed(changes)
    tilts = {one.plane: one.site.array.tilt_deg for one in turned.planes}
    assert tilts[plane] == 30.0
    assert tilts["West"] == (30.0 if plane == "West" else 15.0)
    shown[0].keep()
    (variant,) = kept.read_kept(whole.sitefile).variants
    assert whole.changed(variant.changes).on_plane(plane).site.array.tilt_deg == 30.0


def numbers_or_why(design: Design, changes: Any) -> str:
    """The price of a changed design as a panel shows it, or the sentence that refuses it."""
    try:
        return f"{grouped(f'{design.changed(changes).offer.total:.0f}')} USD"
    except InputError as error:
        return error.sentence


@pytest.mark.parametrize(("site", "plane", "key", "row"), [
    *[("ridge-clinic", "", key, key) for key in
      ("module.use", "controller.use", "inverter.essential.use", "inverter.nonessential.use",
       "battery.use")],
    ("valley-workshop", "East", "controller.use", "planes[1].controller.use"),
    ("valley-workshop", "West", "controller.use", "controller.use"),
])
def test_equipment_is_a_list_of_what_the_site_may_use(
    site: str, plane: str, key: str, row: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each entry is the design of a site file that names it, or a box says why there is none."""
    whole, shown = open_design(site), list[Panel]()
    monkeypatch.setattr(panel_module, "_display", lambda *_: None)
    made = panel_module.Panel
    monkeypatch.setattr(panel_module, "Panel",
                        lambda *given: shown.append(made(*given)) or shown[-1])  # fmt: skip
    panel(whole.on_plane(plane) if plane else whole, key)
    ((name, control),) = shown[0].live.controls.items()
    assert name == row
    entries = [value for _, value in control.options if value is not None]
    assert set(entries) >= set(bundled_equipment()[list_of(loc_of(row)[:-1])])
    assert control.value == whole.sitefile.equipment_keys.get(row.removesuffix(".use"))
    for entry in entries:
        control.value = entry
        changes = shown[0]._tried.changes(shown[0].live.values())
        assert numbers_or_why(whole, changes) in html.unescape(shown[0].live.numbers.value)
    with pytest.raises(InputError, match=rf"{re.escape(row)} is a choice of"):
        panel(whole.on_plane(plane) if plane else whole, key, ranges={key: (0, 1, 1)})


def test_what_a_browser_rounds_is_no_move(design: Design) -> None:
    setting = Setting(name="x", label="x", unit="m", start=None, taken=1.77, low=0.5, high=8.0,
                      step=0.05)  # fmt: skip
    live = Live(Drawn(lambda x: "", None, {}), [setting])
    live.controls["x"].value = 0.5 + 25 * 0.05 + 2e-16
    live.controls["x"].value = 1.7500000000000002
    assert live.moved() == {}
    assert live.controls["x"].description.endswith("as designed")


@given(words=st.text(st.characters(codec="ascii", categories=("L", "N", "Zs")), min_size=1,
                     max_size=200))  # fmt: skip
def test_no_title_of_a_picture_is_wider_than_it(words: str) -> None:
    drawn = framed([], 560.0, 100.0, words)
    assert ("textLength" in drawn) == (TITLE_LETTER * len(words) > 552.0)


@pytest.mark.parametrize("stem", sorted(path.stem for path in SITES.glob("*.toml")))
@pytest.mark.parametrize("key", ["array.row_pitch_m", "battery.min_soc_frac"])
def test_the_ends_of_a_slider_are_values_that_the_site_takes(stem: str, key: str) -> None:
    """Ends of both were a box: rows within one another, a reserve above the shedding level."""
    own = open_design(stem).on_plane(None)
    setting = panel_module._setting(own, key, (0.5, 8.0, 0.05) if "pitch" in key else None)
    table, name = key.split(".")
    for end in (setting.low, setting.high):
        turned = (own.whole or own).changed({table: {name: end}})
        assert turned.on_plane(None).array.pitch_m > 0.0
        assert turned.site.battery.min_soc_frac <= turned.site.battery.nonessential_shed_frac


@pytest.mark.parametrize("stem", sorted(path.stem for path in SITES.glob("*.toml")))
def test_rods_that_are_not_built_are_told_as_such(stem: str) -> None:
    """Sliders of rods that moved nothing stood beside the resistance of a ring without a word."""
    own = open_design(stem)
    said = pictures.rods(own, own)
    kind = own.earth.electrode.kind
    assert (f"by a {kind}, not by these rods" in said) == (kind != "rods")
