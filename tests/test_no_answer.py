"""A stage without an answer says why, in the same words everywhere, and the rest goes on.

The sites are invented and broken on purpose: no source.
"""

from __future__ import annotations

import copy
import html
import json
import os
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import nbformat
import pytest

from solarcalc import page
from solarcalc.basis.check import Check
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import data_folder, demo_sites, workbooks_folder
from solarcalc.basis.no_answer import NoAnswer, checks_or_why, or_why
from solarcalc.batch.run import report_sites
from solarcalc.checking.lines import check_lines
from solarcalc.design import Design, open_design
from solarcalc.documents.catalogue import documents_of
from solarcalc.documents.making import Making
from solarcalc.panels import pictures
from solarcalc.panels.controls import setting_of_range
from solarcalc.panels.live import Live
from solarcalc.panels.panel import Drawn, panel
from solarcalc.sitefile.status import document_set
from solarcalc.variants import compare
from solarcalc.views import battery, quote

_NOTHING = [{"name": "Lamp that draws nothing", "power_w": 0.0, "use": ["08:00-18:00"]}]
_POLAR = {
    "source": "monthly",
    "monthly": {
        "ghi_kwh_m2_day": [0.0, 0.29, 1.26, 2.69, 4.14, 4.94, 4.54, 3.21, 1.76, 0.59, 0.04, 0.0],
        "temp_air_c": [-15.0, -15.0, -14.0, -10.0, -3.0, 2.0, 5.0, 4.0, 0.0, -6.0, -10.0, -13.0],
    },
}
Broken = tuple[str, dict[str, dict[str, Any]], frozenset[str]]
BROKEN: dict[str, Broken] = {
    "no light in winter": (
        "ridge-clinic",
        {"site": {"latitude_deg": 71.0, "longitude_deg": 25.7, "time_zone": "UTC+01:00",
                  "elevation_m": 20.0}, "weather": _POLAR},
        frozenset({"stages/no-worksheet"}),
    ),
    "no string fits": (
        "ridge-clinic",
        {"controller": {"max_pv_voltage_v": 58.0, "min_tracking_voltage_v": 53.0,
                        "max_tracking_voltage_v": 57.0}},
        frozenset(),
    ),
    "no string works": (
        "plateau-school", {"array": {"modules_in_series": 1, "module_count": 1},
                           "commissioning": {"results": ""}},
        frozenset({"stages/no-worksheet", "stages/no-economics"}),
    ),
    "no demand": (
        "ridge-clinic",
        {"loads": {"essential": _NOTHING, "nonessential": []},
         "inverter": {"essential": {"no_load_power_w": 0.0}}},
        frozenset({"stages/no-worksheet", "stages/no-autonomy", "stages/no-economics"}),
    ),
    "battery worn at once": (
        "ridge-clinic", {"battery": {"life_years": 0.001}}, frozenset({"stages/no-economics"})),
    "a kWh beyond price": (
        "lagoon-house", {"quote": {"tariff": {"topup_credit": 0.01, "topup_charge": 1e9}}},
        frozenset({"stages/no-economics"}),
    ),
    "battery too cold to charge": (
        "ridge-clinic", {"battery": {"room_c": -10.0}}, frozenset()),
    "battery too cold to give": ("ridge-clinic", {"battery": {"room_c": -35.0}}, frozenset()),
    "roof too small": (
        "ridge-clinic",
        {"roof": {"length_m": 1.0, "depth_m": 1.0, "obstacles": [], "walkways": []}},
        frozenset({"stages/no-array-on-roof"}),
    ),
}  # fmt: skip
"""Site, what breaks it, and the rules that then have no answer."""


def opened(name: str) -> Design:
    site, changes, _ = BROKEN[name]
    return open_design(site, changes)


_ONE = {"array": {"modules_in_series": 1, "module_count": 1}}
ODD: dict[str, tuple[str, dict[str, dict[str, Any]]]] = {
    **{name: (site, changes) for name, (site, changes, _) in BROKEN.items()},
    "all snow": ("ridge-clinic", {"snow": {
        "snowfall_cm": [200.0] * 12, "events": [28.0] * 12, "ground_days": [28.0] * 12}}),
    "generator only": ("plateau-school", {**_ONE, "generator": {"power_w": 6000.0}}),
    "separate banks": ("ridge-clinic", {"supply": {"layout": "separate-banks"},
                                        "controller": {"count": 2},
                                        "variants": [],
                                        "battery": {"units_in_parallel": 2}}),
}  # fmt: skip
"""Broken sites, and sites that are seldom, for what is made of any."""
SHORTER = bool(os.environ.get("SOLARCALC_SITES", "").split())
IN_WORKBOOKS = [*BROKEN][:: 1 + SHORTER]
IN_DOCUMENTS = [name for name in ODD if not SHORTER or name not in IN_WORKBOOKS]
"""Sites through every workbook, and through every document; a shorter run has each in one."""


@pytest.mark.slow
@pytest.mark.parametrize("name", IN_DOCUMENTS)
def test_every_document_of_an_odd_site_is_made_at_its_last_stage(name: str) -> None:
    site, changes = ODD[name]
    making = Making(design=open_design(site, {
        **changes, "status": {"stage": "visit"}, "commissioning": {"results": ""},
        "logger": {"file": ""}, "handover": {"serials": ""}}))  # fmt: skip
    for code in document_set():
        for document in documents_of(code, making):
            assert document.blocks, code
    if making.design.energy.ac_kwh == 0.0:
        assert not documents_of("QU", making)


def run(workbook: str, name: str) -> None:
    """Every code cell of a workbook run here, but those that the batch leaves out."""
    site, changes, _ = BROKEN[name]
    notebook = nbformat.read(workbooks_folder() / f"{workbook}.ipynb", as_version=4)
    given: dict[str, Any] = {}
    for cell in copy.deepcopy(notebook.cells):
        tags = cell.metadata.get("tags", [])
        if cell.cell_type != "code" or "explore" in tags:
            continue
        source = cell.source
        if "parameters" in tags:
            source += f"\nsite_file = {site!r}\nchanges = {changes!r}\n"
        exec(compile(source, f"{workbook} {cell.id}", "exec"), given)


@pytest.fixture
def shown(monkeypatch: pytest.MonkeyPatch) -> list[Mapping[str, object]]:
    found: list[Mapping[str, object]] = []
    monkeypatch.setattr(page, "publish", lambda data, metadata=None: found.append(data))
    return found


@pytest.mark.slow
@pytest.mark.parametrize("name", IN_WORKBOOKS)
def test_every_workbook_of_a_broken_site_runs_to_its_end(
    name: str, shown: list[Mapping[str, object]]
) -> None:
    books = sorted(path.stem for path in workbooks_folder().glob("*.ipynb"))
    assert len(books) == 8
    for workbook in books:
        before = len(shown)
        run(workbook, name)
        results = [data for data in shown[before:] if page.RESULTS_MIME in data]
        assert len(results) == 1, workbook
    said = "\n".join(str(data["text/plain"]) for data in shown)
    for check in opened(name).all_checks:
        if check.rule in BROKEN[name][2] - {"stages/no-autonomy"}:
            assert f"{check.item}: no answer, because {check.found}" in said
    assert not [data for data in shown if "NoAnswer" in str(data["text/plain"])]


@pytest.mark.parametrize("name", BROKEN)
def test_the_list_of_checks_says_what_has_no_answer(name: str) -> None:
    found = {check.rule: check for check in opened(name).all_checks}
    rules = BROKEN[name][2]
    none = {rule for rule in found if rule.partition("/")[2].startswith("no-")
            and found[rule].outcome == "not assessed"}  # fmt: skip
    assert none == rules
    assert all(found[rule].remedy for rule in rules)


def test_the_words_say_which_thing_is_missing() -> None:
    def why(name: str) -> str:
        return {one.rule: one for one in opened(name).all_checks}["stages/no-worksheet"].found

    assert "in Jan" in why("no light in winter")
    assert why("no string works").startswith("a string supplies nothing to the controller")
    assert why("no demand") == "neither board has a demand"


def test_what_there_is_is_told_beside_what_there_is_not() -> None:
    design = opened("no string works")
    values = quote.values(design)
    assert values["total_price"] > 0.0
    assert values["payback_years"] == "no answer"
    assert "Cost of energy and payback: no answer, because" in quote.answer(design)
    assert f"{design.offer.total:,.0f}".split(",")[0] in quote.answer(design)
    assert "quote.xlsx" in quote.quote_files(design)
    assert "cash-flow.csv" not in quote.quote_files(design)
    assert battery.values(opened("no demand"))["autonomy_days"] == "no answer"
    compared = compare({"as it is": open_design("plateau-school"), "broken": design})
    assert "failed checks of the design" in compared.index


def none_such() -> NoAnswer:
    return NoAnswer(item="A thing", found="there is none", limit="one", clause="made up",
                    rule="made/up", kind="data", remedy="get one")  # fmt: skip


def test_a_why_goes_through_everything_made_of_it_and_a_fault_through_nothing() -> None:
    why = none_such()

    @or_why
    def twice(number: float) -> float:
        if number < 0.0:
            raise why
        if number == 0.0:
            raise InputError(Fault(where="number", given="0", allowed="not 0"))
        return 2.0 * number

    assert twice(1.0) == 2.0
    assert twice(-1.0) is why
    assert twice(twice(-1.0)) is why  # type: ignore[arg-type]
    with pytest.raises(InputError, match="not 0"):
        twice(0.0)

    def checks() -> list[Check]:
        raise why

    (check,) = checks_or_why(checks)
    assert (check.outcome, check.found) == ("not assessed", "there is none")
    assert why.sentence == "A thing: no answer, because there is none; get one."


def test_the_page_shows_a_why_as_one_box_whatever_it_is_asked_to_show(
    shown: list[Mapping[str, object]]
) -> None:
    why: Any = none_such()
    page.show_table(why, caption="of it")
    page.show_figure(why, "of it")
    page.say(why)
    page.show_points(why)
    page.show_files(why, folder="of-it", caption="of it")
    page.show_schedule(why, file="of-it", caption="of it")
    assert {str(data["text/plain"]) for data in shown} == {why.sentence}
    assert all('class="example' in str(data["text/html"]) for data in shown)


def test_a_stage_without_an_answer_is_asked_once_and_kept_over_a_change() -> None:
    design = opened("no demand")
    with pytest.raises(NoAnswer) as first:
        _ = design.economics
    with pytest.raises(NoAnswer) as second:
        _ = design.economics
    assert second.value is first.value
    kept = design.changed({"earthing": {"rod_count": 3}})
    assert "economics" in design.kept
    assert "worksheet" not in kept.kept
    with pytest.raises(NoAnswer):
        _ = kept.worksheet


def test_a_fault_of_the_file_stays_a_fault() -> None:
    with pytest.raises(InputError) as error:
        open_design("ridge-clinic", {"loads": {"essential": [], "nonessential": []}})
    assert not isinstance(error.value, NoAnswer)
    assert "no appliance on either board" in str(error.value)


@pytest.mark.slow
def test_the_batch_makes_the_documents_of_a_broken_site_with_what_there_is(tmp_path: Path) -> None:
    text = demo_sites()["plateau-school"].read_text(encoding="utf-8")
    text = text.partition("\n[commissioning]")[0]  # nothing was tested of another array
    for key in ("modules_in_series", "module_count"):
        text = re.sub(rf"^{key} = \d+", f"{key} = 1", text, count=1, flags=re.MULTILINE)
    text = re.sub(r"^rows = \d+", "rows = 1", text, count=1, flags=re.MULTILINE)
    weather = data_folder() / "weather" / "dry-plateau-synthetic.csv"
    path = tmp_path / "broken.toml"
    path.write_text(text.replace("../weather/dry-plateau-synthetic.csv", str(weather)),
                    encoding="utf-8")  # fmt: skip
    result = report_sites([path], tmp_path / "out")
    assert result.failed == ()
    ((slug, report),) = result.done
    record = json.loads((tmp_path / "out" / slug / "summary.json").read_text(encoding="utf-8"))
    assert len(record["workbooks"]) == 8
    words = {check["rule"]: check for check in record["checks"]}
    appendix = sorted(report.parent.glob("*-ca-*.html"))
    shown = " ".join(html.unescape(one.read_text(encoding="utf-8")) for one in appendix)
    for rule in ("stages/no-worksheet", "stages/no-economics"):
        assert f"{words[rule]['item']}: no answer, because {words[rule]['found']}" in shown


@pytest.mark.parametrize("name", ["roof too small", "no demand"])
def test_the_command_line_says_it_with_the_same_words(name: str) -> None:
    design = opened(name)
    said = "\n".join(check_lines(design))
    for check in design.all_checks:
        if check.rule in BROKEN[name][2]:
            assert f"not assessed {check.kind}: {check.item}: {check.found}" in said
            assert check.remedy in said


PANELS = (
    (pictures.roof, "array.azimuth_deg"), (pictures.months, "array.tilt_deg"),
    (pictures.losses, "array.tilt_deg"), (pictures.week, "battery.units_in_parallel"),
    (pictures.drops, "runs.dc_main.length_m"), (pictures.rods, "earthing.rod_count"),
    (pictures.prices, "programme.crew"),
)  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("name", BROKEN)
def test_every_panel_of_a_broken_site_draws_or_says_why(
    name: str, shown: list[Mapping[str, object]], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("SOLARCALC_STATE", str(tmp_path))
    design = opened(name)
    for picture, key in PANELS:
        before = len(shown)
        panel(design, key, picture=picture)
        (data,) = shown[before:]
        assert len(str(data["text/plain"])) < 300, picture.__name__
        assert "<svg" in str(data["text/html"]) or 'class="example' in str(data["text/html"])


def test_a_setting_without_an_answer_is_one_box_each_time() -> None:
    def draw(times: int) -> str:
        if times == 2:
            raise InputError(Fault(where="array: modules", given="2", allowed="at most 1"))
        opened("no demand").worksheet  # noqa: B018  it has no answer
        return ""

    live = Live(Drawn(draw, None, {}), [setting_of_range("times", [1, 2])])
    live.show_all()
    why = checks_or_why(lambda: opened("no demand").worksheet)[0].found  # type: ignore[arg-type, return-value]
    assert why in live.picture.value
    live.controls["times"].value = 2
    assert "array: modules" in live.picture.value
    assert "Traceback" not in live.picture.value
