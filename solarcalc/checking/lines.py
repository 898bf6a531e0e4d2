"""What a check of one site prints: the job in a few lines, what is open, what blocks it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import date
from pathlib import Path

from solarcalc.basis.check import Check, count_words
from solarcalc.basis.errors import InputError
from solarcalc.basis.no_answer import NoAnswer
from solarcalc.basis.quantity import grouped
from solarcalc.checking.kept import Answer
from solarcalc.checking.nearest import nearest_working
from solarcalc.commissioning.judge import commissioning_checks
from solarcalc.commissioning.results import read_results
from solarcalc.design import Design, open_design
from solarcalc.loads.year import board_day_w
from solarcalc.quote.price_checks import old_prices, old_rates, quote_day
from solarcalc.report.letterhead import letterhead_of
from solarcalc.sitefile.loads import BOARDS
from solarcalc.sitefile.named import read_named
from solarcalc.sitefile.planes import TABLE as PLANES
from solarcalc.sitefile.read import SiteFile
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.template import template_lines
from solarcalc.sitefile.variants import toml_lines
from solarcalc.stages.boards import banks_of, level_frac, usable_battery_wh
from solarcalc.stages.files import there
from solarcalc.stages.owned import used_of
from solarcalc.stages.progress import progress_of, reached, tests_read
from solarcalc.stages.said import odd_days
from solarcalc.stages.serials import serials_of
from solarcalc.stages.status import once
from solarcalc.variants import offer_of, offered_variants, variants_of
from solarcalc.views.electrical import deciding_rows
from solarcalc.views.followup import found_of, visit_checks
from solarcalc.weather.records import WeatherYear

NO_REPORT = "report    none until this is put right: "
"""Begins the line of a fault that a report is refused for."""


def answer_of(path: Path) -> Answer:
    """The whole answer of a site file, or of a variant: what is printed, and 1 where it is blocked.

    A failed check blocks an offer, and a fault of what only a report reads blocks the report.

    Raises
    ------
    InputError
        With every fault of the file, or of one it names.
    """
    design = open_design(read_named(str(path)))
    lines = [*_job_lines(design.sitefile), battery_line(design), _weather_line(design.weather),
             f"energy    in a typical year: {design.year_energy.words}",
             *_price_lines(design), *_owned_lines(design),
             *template_lines(design.sitefile)]  # fmt: skip
    valid = "variant" if design.sitefile.variant else "file"
    head = " ".join([f"{path}: the {valid} is valid. {count_words(design.all_checks)}", *(
        f"{words}: {count_words(found)}" for words, found in _of_what_stands(design) if found)])
    lines += check_lines(design)
    refused = any(line.startswith(NO_REPORT) for line in lines)
    return Answer(text="\n".join([head, *(f"  {line}" for line in lines)]),
                  status=1 if design.blocking or refused else 0)  # fmt: skip


def check_lines(design: Design) -> Iterator[str]:
    """What is open or has no answer, the worst first; how a review is accepted."""
    for check in design.all_checks:
        if check.outcome != "passed" and not check.accepted:
            yield (
                f"{check.outcome:<9} {check.kind}: {check.item}: {check.found_words}"
                f" (required {check.limit_words}){f'; {check.remedy}' if check.remedy else ''}"
                f"{_nearest_words(design, check)}"
            )
        if check.open:
            yield f"{'':<9} " + (
                f"to accept: {check.key}, fingerprint {check.fingerprint}"
                if check.outcome == "review" else f"cannot be accepted: {check.key}"
            )
    for check in visit_checks(design):  # of a test that failed `_stage_lines` tells
        if check.outcome != "passed":
            yield (f"{check.outcome:<9} {check.kind}: logger: {check.item}: {check.found_words}"
                   f" (required {check.limit_words}){f'; {check.remedy}' if check.remedy else ''}")
    yield from _guess_lines(design)
    yield f"design    fingerprint {design.fingerprint}, for [checked]"
    for said in (*design.unmet, *odd_days(design, date.today())):
        yield f"status    {said}"
    yield from _report_lines(design)
    yield from _variant_lines(design)
    yield from _stage_lines(design)
    yield from _invented_lines(design, date.today())
    if design.example_of:
        yield f"example   {' and '.join(design.example_of)} invented: neither to build nor to offer"
    if more := _judged_in_the_report(design):
        yield f"scope     {more} assessed in the report"


def _of_what_stands(design: Design) -> Iterator[tuple[str, tuple[Check, ...]]]:
    """Checks of the tests and of the logger of a system at that stage, each once."""
    report, _ = tests_read(design)
    yield "Tests", once(commissioning_checks(report) if report else ())
    yield "Logger", once(visit_checks(design))


def _nearest_words(design: Design, check: Check) -> str:
    found = nearest_working(design, check)
    if not found:
        return ""
    keys = "" if PLANES in found.changes else f" ({', '.join(toml_lines(found.changes))})"
    return f"; nearest that works: {found.words}{keys}"


def _stage_lines(design: Design) -> Iterator[str]:
    """Where the job stands, what blocks its next stage, and who does what next."""
    progress = progress_of(design, of_visit=visit_checks(design))
    yield f"stage     {progress.words}"
    for block in progress.blocks:
        yield f"open      {block.what}"
    by = f", by {progress.next_date}" if progress.next_date else ""
    yield f"next      {progress.next_step.words}{by}"


def _judged_in_the_report(design: Design) -> str:
    """What the report judges of a system that stands, which is not judged at this stage."""
    tests = design.site.commissioning.results and not reached(design, "test")
    logger = design.site.logger.file and not reached(design, "visit")
    found = ["tests"] * bool(tests) + ["logger"] * bool(logger)
    judged = "design and tests" if reached(design, "test") else "design"
    verb = "is" if found == ["logger"] else "are"
    return f"{judged} only: {' and '.join(found)} {verb}" if found else ""


def _guess_lines(design: Design) -> Iterator[str]:
    """What nobody gave, where something hangs on it within its usual range."""
    for row in deciding_rows(design):
        yield (
            f"guess     {row['guess']}: {row['used']}, usual range {row['usual range']};"
            f" outcome changes at {row['changes at']}: {row['what changes']}"
            f" (as designed: {row['as designed']})"
        )


def _report_lines(design: Design) -> Iterator[str]:
    """Faults of what only a report asks for: it is refused for them, so they are told here."""
    for ask in (lambda: letterhead_of(design.sitefile), lambda: _tests(design),
                lambda: serials_of(design), lambda: _logged(design),
                lambda: variants_of(design)):  # fmt: skip
        for fault in _faults(ask):
            yield f"{NO_REPORT}{fault}"


def _variant_lines(design: Design) -> Iterator[str]:
    """Variants that are the system of the site itself, and others that the quote leaves out."""
    same = set()
    for one in design.sitefile.site.variants:
        with suppress(InputError):  # which is told where reports are
            if design.variant(one.name).sitefile.site == design.sitefile.site:
                same.add(one.name)
                yield (f'variant   "{one.name}" is the same system as the site: enter what is'
                       " different, or delete it")
    with suppress(InputError):
        for name, why in offered_variants(design)[1].items():
            if name not in same:
                yield f'variant   "{name}" is not in the quote: {why}'


def _faults(ask: Callable[[], object]) -> list[str]:
    try:
        ask()
    except NoAnswer:
        return []  # the checks say it, and a report goes on without
    except InputError as error:
        return [" ".join(str(fault).split()) for fault in error.faults]
    return []


def _tests(design: Design) -> None:
    named = design.site.commissioning.results
    path = design.sitefile.folder / named
    if named and there(path):
        read_results(path, design.test_lines)


def _logged(design: Design) -> None:
    named = design.site.logger.file
    if named and there(design.sitefile.folder / named) and not reached(design, "visit"):
        found_of(design)


def _job_lines(sitefile: SiteFile) -> list[str]:
    site, place = sitefile.site, sitefile.site.site
    essential, nonessential = (
        float(board_day_w(site.loads, board, folder=sitefile.folder).sum()) / 60.0 / 1000.0
        for board in BOARDS
    )
    north, east = place.latitude_deg, place.longitude_deg
    return [
        f"place     {place.name}: {abs(north):g}° {'N' if north >= 0 else 'S'}, "
        f"{abs(east):g}° {'E' if east >= 0 else 'W'}, {place.elevation_m:g} m, "
        f"{place.time_zone} (standard time UTC{_clock(sitefile.offset_h)})",
        *(f"array     {f'{one.roof.name}, ' if site.planes else ''}{_array_words(one)}"
          for one in site.sites),
        f"loads     essential board {essential:.1f} kWh/day, nonessential board {nonessential:.1f} "
        f"kWh/day",
    ]


def _array_words(site: Site) -> str:
    """The modules of one roof plane."""
    array = site.array
    return (f"{site.array_w / 1000.0:.2f} kWp: "
            f"{array.module_count} x {site.module.pmax_w:g} W, {array.modules_in_series} in series,"
            f" {array.orientation}, tilt {array.tilt_deg:g}°, azimuth {array.azimuth_deg:g}°, "
            f"{array.mounting}")


def battery_line(design: Design) -> str:
    """What the battery is, and what of it the year uses."""
    battery = design.site.battery
    return (
        f"battery   {battery.rated_wh / 1000.0:.1f} kWh rated, {battery.nominal_voltage_v:g} V, "
        f"{battery.traits.name}; {usable_battery_wh(design) / 1000.0:.1f} kWh usable, "
        f"down to {100.0 * level_frac(design, battery.min_soc_frac):.0f} % of "
        f"{sum(one.capacity_wh for one in banks_of(design)) / 1000.0:.1f} kWh at slow discharge, "
        "cold included"
    )


def _weather_line(weather: WeatherYear) -> str:
    ghi, dni, dhi = (weather.hours[name].sum() / 1000.0 for name in ("ghi", "dni", "dhi"))
    away = f", {weather.distance_km:.0f} km away" if weather.distance_km >= 0.5 else ""
    return (
        f"weather   {weather.station}{away}: in the year "
        f"{ghi:.0f} kWh/m² global, {dni:.0f} beam, {dhi:.0f} diffuse"
        f"{'' if weather.has_rain else '; no usable rain'}"
    )


def _price_lines(design: Design) -> Iterator[str]:
    """What the offer comes to; nothing where there is none, which the checks say."""
    offer = offer_of(design)
    if not isinstance(offer, NoAnswer):
        total = grouped(f"{offer.total:.{design.prices.decimals}f}")
        yield f"price     {total} {design.prices.currency}, {offer.tax_words}"


def _owned_lines(design: Design) -> Iterator[str]:
    """What of the customer's own is used again."""
    if any(one.used for one in design.site.existing):
        for used in used_of(design.bill, design.site.existing):
            yield f"owned     {used.words}"


def _invented_lines(design: Design, today: date) -> Iterator[str]:
    """How many prices are invented, and what of the firm's own no longer holds today."""
    offer = offer_of(design)
    if isinstance(offer, NoAnswer):
        return
    if offer.invented_rows:
        yield f"prices    {offer.invented_words}; listed by --prices-to-fill FILE"
    if quote_day(design.site.status) is not None:
        return  # then it is a check of the design
    if old := old_prices(offer, design.prices, today):
        yield (f"prices    to review: {len(old)} out of date today,"
               f" {offer.share_words(old)} of the price: {', '.join(old)}")
    for currency, used in old_rates(offer, design.prices, today).items():
        yield (f"prices    to review: rate of {currency} out of date today,"
               f" {offer.share_words(used)} of the price")


def _clock(offset_h: float) -> str:
    minutes = round(abs(offset_h) * 60.0)
    return f"{'-' if offset_h < 0 else '+'}{minutes // 60:02d}:{minutes % 60:02d}"
