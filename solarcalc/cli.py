"""The command line, its words and what it prints. Heavy libraries load when needed."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from solarcalc import __version__
from solarcalc.basis.errors import Fault, InputError

if TYPE_CHECKING:
    from datetime import date

    from solarcalc.batch.papers import Papers
    from solarcalc.design import Design
    from solarcalc.sitefile.read import SiteFile
    from solarcalc.weather.records import WeatherYear

DEBUG = "SOLARCALC_DEBUG"
"""Environment variable: set to 1, tracebacks and library warnings are shown."""

OK, FAILED, INTERRUPTED = 0, 1, 130
"""Exit status; wrong usage is 2, from argparse; 130 is the shell's for Ctrl-C."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    arguments : sequence of str, optional
        The words after ``solarcalc``; those of the process when left out.

    Returns
    -------
    int
        Exit status: 0 all well, 1 something failed, 130 interrupted. Wrong usage exits with 2.
    """
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    options = _parser().parse_args(arguments)
    command: Callable[[argparse.Namespace], int] = options.command
    try:
        with _quiet_libraries():
            status = command(options)
            sys.stdout.flush()
            return status
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FAILED
    except InputError as error:
        _complain(str(error))
    except Exception as error:
        _complain(_unexpected("solarcalc", error))
    return FAILED


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="solarcalc", description="Rooftop solar with batteries: from site files to reports.",
        epilog="SITE is a site file, or the name of a demo site such as ridge-clinic.",
    )
    parser.add_argument("--version", action="version", version=f"solarcalc {__version__}")
    commands = parser.add_subparsers(metavar="COMMAND", required=True)

    new = commands.add_parser("new", help="write a commented site file to fill in")
    new.add_argument("name", metavar="NAME", help="name of the site, in quotes if it has spaces")
    new.add_argument("--folder", type=Path, default=Path(), help="default: the current folder")
    new.set_defaults(command=_new)

    check = commands.add_parser("check", help="check whether site files are valid")
    check.add_argument("sites", nargs="+", metavar="SITE")
    check.add_argument("--prices-to-fill", type=Path, metavar="FILE",
                       help="write the prices that are still invented, a CSV or xlsx file to fill")
    check.set_defaults(command=_check)

    report = commands.add_parser("report", help="compute sites and write their documents")
    report.add_argument("sites", nargs="+", metavar="SITE")
    _add_report_options(report)
    report.set_defaults(command=_report)

    demo = commands.add_parser("demo", help="write the documents of all demo sites")
    _add_report_options(demo)
    demo.set_defaults(command=_demo)

    serials = commands.add_parser("serials", help="write a blank list of serial numbers")
    serials.add_argument("site", metavar="SITE")
    serials.add_argument("--out", type=Path, default=Path(), metavar="DIR",
                         help="default: the current folder")
    serials.set_defaults(command=_serials)

    crews = commands.add_parser("crews", help="schedule the days of sites that share crews")
    crews.add_argument("sites", nargs="+", metavar="SITE")
    crews.add_argument("--crews", type=_at_least_one, default=1, metavar="N", help="default: 1")
    crews.add_argument("--out", type=Path, required=True, metavar="DIR")
    crews.set_defaults(command=_crews)

    books = commands.add_parser(
        "workbooks", help="copy the workbooks and demo sites to a folder, to open and change"
    )
    books.add_argument("--out", type=Path, required=True, metavar="DIR")
    books.set_defaults(command=_workbooks)
    return parser


def _add_report_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="for the reports")
    parser.add_argument("--documents", type=_codes, default=(), metavar="CODES",
                        help="such as DS,QU; default: all that exist at the stage of the site")
    parser.add_argument("--jobs", type=_at_least_one, metavar="N",
                        help="workbooks run in parallel; default: one per processor core")


def _codes(words: str) -> tuple[str, ...]:
    from solarcalc.documents.catalogue import codes_of

    try:
        return codes_of(words.split(","))
    except InputError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def _at_least_one(word: str) -> int:
    if not word.isdecimal() or int(word) < 1:
        raise argparse.ArgumentTypeError(f"{word!r} is not a whole number from 1")
    return int(word)


@contextmanager
def _quiet_libraries() -> Iterator[None]:
    """Keep library warnings and logs off the command line, unless debugging."""
    import logging
    import warnings

    if _debugging():
        yield
        return
    before = logging.root.manager.disable
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        logging.disable(logging.CRITICAL)
        try:
            yield
        finally:
            logging.disable(before)


def _debugging() -> bool:
    return os.environ.get(DEBUG, "") not in ("", "0")


def _complain(text: str) -> None:
    sys.stdout.flush()
    print(text, file=sys.stderr, flush=True)


def _unexpected(where: str, error: BaseException) -> str:
    if _debugging():
        import traceback

        return "".join(traceback.format_exception(error)).rstrip()
    first = (str(error).splitlines() or [""])[0][:200]
    words = f"{type(error).__name__}: {first}" if first else type(error).__name__
    return f"{where}: unexpected {words} ({DEBUG}=1 shows the traceback)"


def _site_paths(words: Sequence[str]) -> tuple[list[Path], list[InputError]]:
    """Each site once, in the order given; a name that is no file may be a demo site."""
    from solarcalc.basis.files import demo_sites

    demos = demo_sites()
    paths: dict[Path, Path] = {}
    errors: list[InputError] = []
    for word in words:
        path = Path(word)
        if not _is_file(path) and word in demos:
            path = demos[word]
        elif not path.suffix and path.name == word and not os.path.lexists(word):
            errors.append(_no_such_site(word, sorted(demos)))
            continue
        paths.setdefault(path.absolute(), path)
    return list(paths.values()), errors


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:
        return False


def _no_such_site(word: str, demos: Sequence[str]) -> InputError:
    from solarcalc.basis.text import nearest

    near = nearest(word, demos)
    return InputError(
        Fault(
            where="SITE",
            given=repr(word),
            allowed="a site file, or a demo site: " + ", ".join(demos),
            remedy=f"did you mean {near}?" if near else "solarcalc new NAME writes a site file",
        )
    )


def _new(options: argparse.Namespace) -> int:
    from solarcalc.sitefile.toml import write_new_site

    path = write_new_site(options.name, options.folder)
    print(f"wrote {path}\nfill it in, then: solarcalc check {path}")
    return OK


def _check(options: argparse.Namespace) -> int:
    paths, errors = _site_paths(options.sites)
    for error in errors:
        _complain(str(error))
    status = FAILED if errors else OK
    designs: list[Design] = []
    for path in paths:
        try:
            status = max(status, _check_one(path, designs))
        except InputError as error:
            count = len(error.faults)
            _complain(f"{path}: not valid, {count} input error{'s' if count > 1 else ''}\n{error}")
            status = FAILED
        except BrokenPipeError:
            raise
        except Exception as error:
            _complain(_unexpected(str(path), error))
            status = FAILED
    if options.prices_to_fill is not None:
        _write_prices_to_fill(options.prices_to_fill, designs)
    return status


def _write_prices_to_fill(path: Path, designs: Sequence[Design]) -> None:
    """The prices of the sites that are still invented, as a list to fill in."""
    from solarcalc.basis.no_answer import NoAnswer
    from solarcalc.quote.to_fill import write_to_fill
    from solarcalc.views.quote import offer_of

    offers = [(offer_of(design), design) for design in designs]
    priced = [(offer, design.prices) for offer, design in offers if not isinstance(offer, NoAnswer)]
    count = write_to_fill(path, priced)
    print(f"wrote {path}: {count} prices to fill; then name it in quote.price_list, or copy its"
          " rows into your list")


def _check_one(path: Path, designs: list[Design] | None = None) -> int:
    """Print what is found of a site, and add its design to `designs`."""
    from solarcalc.basis.check import count_words
    from solarcalc.design import open_design
    from solarcalc.sitefile.read import read_site
    from solarcalc.sitefile.template import template_lines

    design = open_design(read_site(path))
    if designs is not None:
        designs.append(design)
    lines = [*_job_lines(design.sitefile), _battery_line(design), _weather_line(design.weather),
             f"energy    in a typical year: {design.year_energy.words}",
             *template_lines(design.sitefile)]  # fmt: skip
    checks = design.all_checks
    print(f"{path}: the file is valid. {count_words(checks)}")
    for line in (*lines, *_check_lines(design)):
        print(f"  {line}")
    return FAILED if design.blocking else OK


def _check_lines(design: Design) -> Iterator[str]:
    """What is open or has no answer, the worst first; how a review is accepted."""
    for check in design.all_checks:
        if check.outcome != "passed" and not check.accepted:
            yield (
                f"{check.outcome:<9} {check.kind}: {check.item}: {check.found_words}"
                f" (required {check.limit_words}){f'; {check.remedy}' if check.remedy else ''}"
            )
        if check.open:
            yield f"{'':<9} " + (
                f"to accept: {check.key}, fingerprint {check.fingerprint}"
                if check.outcome == "review" else f"cannot be accepted: {check.key}"
            )
    from datetime import date

    from solarcalc.stages.said import odd_days

    yield from _guess_lines(design)
    yield f"design    fingerprint {design.fingerprint}, for [checked]"
    for said in (*design.unmet, *odd_days(design, date.today())):
        yield f"status    {said}"
    yield from _stage_lines(design)
    yield from _price_lines(design, date.today())
    if design.example_of:
        yield f"example   {' and '.join(design.example_of)} invented: neither to build nor to offer"
    if more := _judged_in_the_report(design):
        yield f"scope     {more} assessed in the report"


def _price_lines(design: Design, today: date) -> Iterator[str]:
    """How many prices are invented, and what of the firm's own no longer holds today."""
    from solarcalc.basis.no_answer import NoAnswer
    from solarcalc.quote.price_checks import old_prices, old_rates, quote_day
    from solarcalc.views.quote import offer_of

    offer = offer_of(design)
    if isinstance(offer, NoAnswer):
        return
    if rows := offer.invented_rows:
        yield (f"prices    {len(rows)} of {offer.row_count} invented,"
               f" {offer.share_words(rows)} of the price; listed by --prices-to-fill FILE")
    if quote_day(design.site.status) is not None:
        return  # then it is a check of the design
    if old := old_prices(offer, design.prices, today):
        yield (f"prices    to review: {len(old)} out of date today,"
               f" {offer.share_words(old)} of the price: {', '.join(old)}")
    for currency, used in old_rates(offer, design.prices, today).items():
        yield (f"prices    to review: rate of {currency} out of date today,"
               f" {offer.share_words(used)} of the price")


def _stage_lines(design: Design) -> Iterator[str]:
    """Where the job stands, what blocks its next stage, and who does what next."""
    from solarcalc.stages.progress import progress_of
    from solarcalc.views.followup import visit_checks

    progress = progress_of(design, of_visit=visit_checks(design))
    yield f"stage     {progress.words}"
    for block in progress.blocks:
        yield f"open      {block.what}"
    by = f", by {progress.next_date}" if progress.next_date else ""
    yield f"next      {progress.next_step.words}{by}"


def _judged_in_the_report(design: Design) -> str:
    """What the report judges of a system that stands, which is not judged at this stage."""
    from solarcalc.stages.progress import reached

    tests = design.site.commissioning.results and not reached(design, "test")
    logger = design.site.logger.file and not reached(design, "visit")
    found = ["tests"] * bool(tests) + ["logger"] * bool(logger)
    judged = "design and tests" if reached(design, "test") else "design"
    verb = "is" if found == ["logger"] else "are"
    return f"{judged} only: {' and '.join(found)} {verb}" if found else ""


def _guess_lines(design: Design) -> Iterator[str]:
    """What nobody gave, where something hangs on it within its usual range."""
    from solarcalc.views.electrical import guess_rows

    for row in guess_rows(design):
        if row["as designed"]:
            yield (
                f"guess     {row['guess']}: {row['used']}, usual range {row['usual range']};"
                f" outcome changes at {row['flips at']}: {row['what changes']}"
                f" (as designed: {row['as designed']})"
            )


def _job_lines(sitefile: SiteFile) -> list[str]:
    from solarcalc.loads.year import board_day_w
    from solarcalc.sitefile.loads import BOARDS

    site, place = sitefile.site, sitefile.site.site
    array = site.array
    essential, nonessential = (
        float(board_day_w(site.loads, board, folder=sitefile.folder).sum()) / 60.0 / 1000.0
        for board in BOARDS
    )
    north, east = place.latitude_deg, place.longitude_deg
    return [
        f"place     {place.name}: {abs(north):g}° {'N' if north >= 0 else 'S'}, "
        f"{abs(east):g}° {'E' if east >= 0 else 'W'}, {place.elevation_m:g} m, "
        f"{place.time_zone} (standard time UTC{_clock(sitefile.offset_h)})",
        f"array     {site.array_w / 1000.0:.2f} kWp: "
        f"{array.module_count} x {site.module.pmax_w:g} W, {array.modules_in_series} in series, "
        f"{array.orientation}, tilt {array.tilt_deg:g}°, azimuth {array.azimuth_deg:g}°, "
        f"{array.mounting}",
        f"loads     essential board {essential:.1f} kWh/day, nonessential board {nonessential:.1f} "
        f"kWh/day",
    ]


def _battery_line(design: Design) -> str:
    from solarcalc.stages.boards import banks_of, level_frac, usable_battery_wh

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
    return (
        f"weather   {weather.station}, {weather.distance_km:.0f} km away: in the year "
        f"{ghi:.0f} kWh/m² global, {dni:.0f} beam, {dhi:.0f} diffuse"
        f"{'' if weather.has_rain else '; no usable rain'}"
    )


def _clock(offset_h: float) -> str:
    minutes = round(abs(offset_h) * 60.0)
    return f"{'-' if offset_h < 0 else '+'}{minutes // 60:02d}:{minutes % 60:02d}"


def _report(options: argparse.Namespace) -> int:
    paths, errors = _site_paths(options.sites)
    for error in errors:
        _complain(str(error))
    status = _write_reports(paths, options) if paths else OK
    return FAILED if errors else status


def _demo(options: argparse.Namespace) -> int:
    from solarcalc.basis.files import demo_sites

    return _write_reports(list(demo_sites().values()), options)


def _write_reports(paths: Sequence[Path], options: argparse.Namespace) -> int:
    from solarcalc.batch.run import report_sites

    result = report_sites(paths, options.out, documents=options.documents, jobs=options.jobs,
                          progress=sys.stderr.isatty())  # fmt: skip
    for _, path in result.done:
        print(path)
    for path, reason in result.failed:
        _complain(f"{path}: no documents\n{reason}")
    if result.done:
        print(f"start here: {options.out / 'index.html'}")
    return FAILED if result.failed else OK


def _serials(options: argparse.Namespace) -> int:
    from solarcalc.batch.papers import write_serials

    return _print_papers(write_serials(_one_site(options.site), options.out))


def _crews(options: argparse.Namespace) -> int:
    from solarcalc.batch.papers import write_crews

    paths, errors = _site_paths(options.sites)
    if errors:
        raise errors[0]
    return _print_papers(write_crews(paths, options.out, crews=options.crews))


def _one_site(word: str) -> Path:
    (paths, errors) = _site_paths([word])
    if errors:
        raise errors[0]
    return paths[0]


def _print_papers(papers: Papers) -> int:
    for path in papers.files:
        print(path)
    if papers.words:
        print(papers.words)
    return OK


def _workbooks(options: argparse.Namespace) -> int:
    from solarcalc.basis.files import bundled
    from solarcalc.batch.folders import copy_workbooks

    out: Path = options.out
    copy_workbooks(out)
    print(f"copied to {out / 'workbooks'} and {out / 'data'}; open with: jupyter lab {out}")
    print(f"equipment lists stay in {bundled('data') / 'equipment'}; add your own to a site file")
    print('with equipment_files = ["my-equipment.toml"]')
    return OK
