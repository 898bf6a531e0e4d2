"""The command line, its words and what it prints. Heavy libraries load when needed."""

from __future__ import annotations

import argparse
import gc
import os
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from solarcalc import __version__
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.running import Stopped, stopped_by_signals

if TYPE_CHECKING:

    from solarcalc.batch.papers import Papers
    from solarcalc.batch.run import BatchResult
    from solarcalc.checking.kept import Answer

DEBUG = "SOLARCALC_DEBUG"
"""Environment variable: set to 1, tracebacks and library warnings are shown."""

MOST = 1000
"""Crews that share sites, processes of a batch."""
_RARELY = 50_000, 20, 20
"""How seldom Python looks for garbage: libraries make very many objects that stay, and to go over
them as often as is usual takes a sixth of the time of importing them."""

OK, FAILED, INTERRUPTED = 0, 1, 130
"""Exit status; wrong usage is 2, from argparse; 130 is the shell's for Ctrl-C, as are 143 and 129
for SIGTERM and SIGHUP."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    arguments : sequence of str, optional
        The words after ``solarcalc``; those of the process when left out.

    Returns
    -------
    int
        Exit status: 0 all well, 1 something failed, 130 interrupted, 128 and its number for
        another signal. Wrong usage exits with 2.
    """
    gc.set_threshold(*_RARELY)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    with redirect_stdout(_Shown(sys.stdout)), redirect_stderr(_Shown(sys.stderr)):
        return _run(arguments)


class _Shown:
    """A stream of a terminal, where the narrow space of papers is often an empty box.

    Between thousands stands a plain space instead.
    """

    def __init__(self, stream: Any) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write a text with plain spaces; its length."""
        return int(self._stream.write(text.replace("\u202f", " ")) or 0)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def _run(arguments: Sequence[str] | None) -> int:
    options = command_parser().parse_args(arguments)
    command: Callable[[argparse.Namespace], int] = options.command
    try:
        with _quiet_libraries():
            status = command(options)
            sys.stdout.flush()
            return status
    except KeyboardInterrupt as error:
        return 128 + error.number if isinstance(error, Stopped) else INTERRUPTED
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FAILED
    except InputError as error:
        _complain(str(error))
    except Exception as error:
        _complain(_unexpected("solarcalc", error))
    return FAILED


def command_parser() -> argparse.ArgumentParser:
    """Every command with its options."""
    parser = argparse.ArgumentParser(
        prog="solarcalc", description="Rooftop solar with batteries: from site files to reports.",
        epilog="SITE is a site file, or the name of a demo site such as ridge-clinic.",
    )
    parser.add_argument("--version", action="version", version=f"solarcalc {__version__}")
    commands = parser.add_subparsers(metavar="COMMAND", required=True)

    _add_survey_commands(commands)

    check = commands.add_parser("check", help="check site files: input errors, failed checks,"
                           " price, what blocks the next stage")
    check.add_argument("sites", nargs="+", metavar="SITE[:VARIANT]")
    check.add_argument("--prices-to-fill", type=Path, metavar="FILE",
                       help="write the prices that are still invented, a CSV or xlsx file to fill")
    check.add_argument("--fresh", action="store_true",
                       help="work the answer out again, though no file has changed")
    check.set_defaults(command=_check)

    report = commands.add_parser("report", help="compute sites and write their documents")
    report.add_argument("sites", nargs="+", metavar="SITE[:VARIANT]",
                        help="or a filled-in survey, .xlsx: site files of all its sites are"
                        " written beside it")
    _add_report_options(report)
    report.set_defaults(command=_report)

    demo = commands.add_parser("demo", help="write the documents of all demo sites")
    _add_report_options(demo)
    demo.set_defaults(command=_demo)

    compare = commands.add_parser("compare", help="what differs between sites or variants")
    compare.add_argument("sites", nargs="+", metavar="SITE[:VARIANT]",
                         help="one site alone: with all of its variants")
    compare.add_argument("--json", action="store_true", help="print JSON in place of a table")
    compare.add_argument("--out", type=Path, metavar="FILE", help="write a .csv or .html file too")
    compare.set_defaults(command=_compare)

    _add_search_command(commands)

    serials = commands.add_parser("serials", help="write a blank list of serial numbers")
    serials.add_argument("site", metavar="SITE")
    serials.add_argument("--out", type=Path, default=Path(), metavar="DIR",
                         help="default: the current folder")
    serials.set_defaults(command=_serials)

    crews = commands.add_parser("crews", help="schedule the days of sites that share crews")
    crews.add_argument("sites", nargs="+", metavar="SITE")
    crews.add_argument("--crews", type=_count_of, default=1, metavar="N", help="default: 1")
    crews.add_argument("--out", type=Path, required=True, metavar="DIR")
    crews.set_defaults(command=_crews)

    room = commands.add_parser("class", help="a class that does the lessons")
    room.add_argument("what", choices=("page",), help="page: who has done what, for the trainer")
    room.add_argument("folder", type=Path, metavar="FOLDER", help="of the learners' progress")
    room.set_defaults(command=_class)

    books = commands.add_parser(
        "workbooks", help="copy the workbooks and demo sites to a folder, to open and change"
    )
    books.add_argument("--out", type=Path, required=True, metavar="DIR")
    books.set_defaults(command=_workbooks)
    return parser


def _add_survey_commands(commands: Any) -> None:
    new = commands.add_parser("new", help="write a site file to fill in, or those of a survey")
    named = new.add_mutually_exclusive_group(required=True)
    named.add_argument("name", metavar="NAME", nargs="?",
                       help="name of the site, in quotes if it has spaces")
    named.add_argument("--from", dest="source", type=Path, metavar="FILE",
                       help="a filled-in survey, .xlsx or the .toml of a phone: all of its sites")
    new.add_argument("--full", action="store_true", help="the long file: every table and key")
    new.add_argument("--folder", type=Path, default=Path(), help="default: the current folder")
    new.set_defaults(command=_new)

    survey = commands.add_parser("survey", help="write a survey to fill in: spreadsheet or phone")
    survey.add_argument("sites", nargs="*", metavar="SITE", help="what is known of it, filled in")
    form = survey.add_mutually_exclusive_group(required=True)
    form.add_argument("--xlsx", type=Path, metavar="FILE", help="a spreadsheet with both forms")
    form.add_argument("--phone", type=Path, metavar="FILE",
                      help="one page for a phone without network; at most one SITE")
    survey.add_argument("--rows", action="store_true", help="with --xlsx: SITEs a row each")
    survey.set_defaults(command=_survey)


def _add_search_command(commands: Any) -> None:
    search = commands.add_parser(
        "search", help="the best whole system under a price, or the cheapest for a promise")
    search.add_argument("site", metavar="SITE", help="what is tried: its table [search]")
    search.add_argument("--hours", metavar="N",
                        help="cheapest that leaves the essential loads without supply for at most"
                        " N hours a year")
    search.add_argument("--budget", metavar="MONEY",
                        help="fewest hours without supply for a price of no more than this, in the"
                        " currency of the price list")
    search.add_argument("--front", action="store_true",
                        help="the trade-off curve of price and hours without supply; default"
                        " without --hours and --budget")
    search.add_argument("--most-supplied", action="store_true",
                        help="with --budget: the most energy supplied to both boards, in place of"
                        " the fewest hours without supply")
    search.add_argument("--purchase-only", action="store_true",
                        help="with --hours: what a generator costs to run does not count")
    search.set_defaults(command=_search)


def _add_report_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="for the reports")
    parser.add_argument("--documents", type=_codes, default=(), metavar="CODES",
                        help="such as DS,QU; default: all that exist at the stage of the site")
    parser.add_argument("--jobs", type=_count_of, metavar="N",
                        help="workbooks run in parallel; default: one per processor core")
    parser.add_argument("--fresh", action="store_true",
                        help="make the documents again where nothing has changed, too")
    parser.add_argument("--scheduler", default="", metavar="ADDRESS",
                        help="make the sites on the workers of this Dask scheduler")
    parser.add_argument("--json", action="store_true",
                        help="a line of JSON for each site as it is made, in place of words")


def _codes(words: str) -> tuple[str, ...]:
    from solarcalc.documents.catalogue import codes_of

    try:
        return codes_of(words.split(","))
    except InputError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def _count_of(word: str) -> int:
    """Crews or processes; more of them are a slip, and would fill the memory."""
    if not word.isdecimal() or len(word) > 9 or not 1 <= int(word) <= MOST:
        raise argparse.ArgumentTypeError(f"{word[:40]!r} is not a whole number from 1 to {MOST}")
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
        elif not _is_file(path) and (variant := _variant_path(word, demos)) is not None:
            path = variant
        elif not path.suffix and path.name == word and not os.path.lexists(word):
            errors.append(_no_such_site(word, sorted(demos)))
            continue
        paths.setdefault(path.absolute(), path)
    return list(paths.values()), errors


def _variant_path(word: str, demos: Mapping[str, Path]) -> Path | None:
    """A site file and its variant, for ``SITE:variant`` where there is such a site."""
    for place in (place for place, letter in enumerate(word) if letter == ":"):
        site, variant = word[:place], word[place + 1 :].strip()
        path = Path(site) if _is_file(Path(site)) else demos.get(site)
        if path is not None and variant:
            return Path(f"{path}:{variant}")
    return None


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
    from solarcalc.sitefile.survey_text import new_answers, short_text, write_files
    from solarcalc.sitefile.toml import write_new_site

    if options.source is not None:
        return _new_from(options)
    if options.full:
        path = write_new_site(options.name, options.folder)
    else:
        text = short_text(new_answers(options.name).values)
        (path,) = write_files([(options.name, text)], options.folder)
    print(f"wrote {path}\nfill it in, then: solarcalc check {path}")
    return OK


def _new_from(options: argparse.Namespace) -> int:
    from solarcalc.survey.reading import write_surveyed

    if options.full:
        raise InputError(Fault(where="--full", given="--full with --from", allowed="one of the two",
                               why="a survey makes short site files"))
    surveyed = write_surveyed(options.source, options.folder)
    for path, lines in surveyed.written:
        print("\n  ".join([f"wrote {path}", *lines]))
    for said in surveyed.notes:
        print(said)
    return OK


def _survey(options: argparse.Namespace) -> int:
    from solarcalc.survey.writing import write_phone, write_spreadsheet

    paths, errors = _site_paths(options.sites)
    if errors:
        raise errors[0]
    if options.phone is not None:
        notes = write_phone(options.phone, paths)
    else:
        notes = write_spreadsheet(options.xlsx, paths, rows=options.rows)
    print(f"wrote {options.phone or options.xlsx}")
    for said in notes:
        print(said)
    return OK


def _check(options: argparse.Namespace) -> int:
    from solarcalc.checking.kept import kept_answer

    paths, errors = _site_paths(options.sites)
    for error in errors:
        _complain(str(error))
    status = FAILED if errors else OK
    fresh = options.fresh or _debugging()
    kept = {path: None if fresh else kept_answer(path) for path in paths}
    made = _answers([path for path, answer in kept.items() if answer is None])
    valid = []
    for path, answer in kept.items():
        found = answer or next(made)
        if isinstance(found, str):
            _complain(found)
            status = FAILED
        else:
            print(found.text)
            status = max(status, found.status)
            valid.append(path)
    if options.prices_to_fill is not None:
        _write_prices_to_fill(options.prices_to_fill, valid)
    return status


def _write_prices_to_fill(path: Path, sites: Sequence[Path]) -> None:
    """The prices of the sites that are still invented, as a list to fill in."""
    from solarcalc.basis.no_answer import NoAnswer
    from solarcalc.design import open_design
    from solarcalc.quote.to_fill import write_to_fill
    from solarcalc.variants import offer_of

    offers = [(offer_of(design), design) for design in map(open_design, sites)]
    priced = [(offer, design.prices) for offer, design in offers if not isinstance(offer, NoAnswer)]
    count = write_to_fill(path, priced)
    lists = sorted({prices.file for _, prices in priced if not prices.invented})
    then = f"copy its rows into {' and '.join(lists)}" if lists else "name it in quote.price_list"
    print(f"wrote {path}: {count} prices to fill; then {then}")


def _answers(paths: Sequence[Path]) -> Iterator[Answer | str]:
    """Answers that are made, in order; a complaint in place of one that cannot be."""
    if not paths:
        return
    from solarcalc.basis.lazily import quick_imports

    with quick_imports():
        from solarcalc.checking.sites import answers

        yield from answers(paths, unexpected=_unexpected)


def _report(options: argparse.Namespace) -> int:
    words: list[str] = []
    errors: list[InputError] = []
    for word in options.sites:
        if word.lower().endswith(".xlsx"):
            _take_survey(Path(word), words, errors, quiet=options.json)
        else:
            words.append(word)
    paths, more = _site_paths(words)
    errors += more
    for error in errors:
        refused = {"event": "refused", "reason": str(error)}
        _json_line(refused) if options.json else _complain(str(error))
    status = _write_reports(paths, options) if paths else OK
    return FAILED if errors else status


def _take_survey(source: Path, words: list[str], errors: list[InputError], *, quiet: bool) -> None:
    """Site files of a survey in place of it."""
    from solarcalc.survey.reading import surveyed_files

    try:
        paths, said = surveyed_files(source)
    except InputError as error:
        errors.append(error)
        return
    words += map(str, paths)
    for line in () if quiet else said:
        print(line)


def _demo(options: argparse.Namespace) -> int:
    from solarcalc.basis.files import demo_sites

    return _write_reports(list(demo_sites().values()), options)


def _write_reports(paths: Sequence[Path], options: argparse.Namespace) -> int:
    from solarcalc.batch.folders import not_made

    told = _json_line if options.json else None
    say = told or (lambda record: None)
    try:
        with stopped_by_signals():
            result = _reporter(options.scheduler)(
                paths, options.out, documents=options.documents, jobs=options.jobs,
                fresh=options.fresh, progress=sys.stderr.isatty() and not told, told=told)
    except InputError as error:
        say({"event": "refused", "reason": str(error)})
        raise
    except KeyboardInterrupt:
        say({"event": "stopped"})
        index = options.out / "index.html"
        _complain("stopped; the same command goes on with the sites that are left"
                  + (f"; {index} lists those made" if index.is_file() else ""))
        raise
    if told:
        told({"event": "end", "made": len(result.done), "unchanged": len(result.unchanged),
              "failed": len(result.failed), "index": str(options.out / "index.html")})
        return FAILED if result.failed else OK
    for made, said in ((result.done, ""), (result.unchanged, " (unchanged)")):
        for _, path in made:
            print(f"{path}{said}")
            for code in not_made(path, options.documents):
                print(f"{path}: no {code} was made, see there")
    if result.unchanged:
        count = len(result.unchanged)
        print(f"{count} site{'s' * (count > 1)} unchanged since the documents were made:"
              " --fresh makes them again")
    for path, reason in result.failed:
        _complain(f"{path}: no documents\n{reason}")
    if result.done or result.unchanged:
        print(f"start here: {options.out / 'index.html'}")
    return FAILED if result.failed else OK


def _reporter(scheduler: str) -> Callable[..., BatchResult]:
    """What makes sites: this machine, or the workers of a scheduler."""
    if scheduler:
        from solarcalc.batch.cluster import report_on_cluster

        return partial(report_on_cluster, scheduler=scheduler)
    from solarcalc.batch.run import report_sites

    return report_sites


def _json_line(record: Mapping[str, Any]) -> None:
    """One line of JSON on standard output, at once."""
    import json

    print(json.dumps(record), flush=True)


def _compare(options: argparse.Namespace) -> int:
    from solarcalc.batch import compared

    if options.out is not None:
        compared.check_out_file(options.out)
    table, designs = compared.compared_sites(options.sites)
    print(compared.json_of(table) if options.json else compared.printed(table, designs))
    if options.out is not None:
        compared.write_compared(table, designs, options.out)
        if not options.json:
            print(f"wrote {options.out}")
    return OK


def _search(options: argparse.Namespace) -> int:
    from solarcalc.views.whole_search import asked_of, printed

    asked = asked_of(
        _one_site(options.site), most_hours=_number_of("--hours", options.hours),
        budget=_number_of("--budget", options.budget),
        front=options.front, criterion="supplied" if options.most_supplied else "hours",
        weigh="price" if options.purchase_only else "lifetime",
    )  # fmt: skip
    print("\n".join(printed(asked)))
    return OK if all(winner for winner, _ in asked.answers.values()) else FAILED


def _number_of(name: str, word: str | None) -> float | None:
    """A number of an option, read as one of a spreadsheet is."""
    from solarcalc.basis.typed import typed_number

    def refuse(why: str, remedy: str) -> InputError:
        return InputError(Fault(where=name, given=repr(word), allowed="a number from 0", why=why,
                                remedy=remedy or "enter one number alone"))  # fmt: skip

    return None if word is None else typed_number(word, refuse, large=name == "--budget")


def _serials(options: argparse.Namespace) -> int:
    from solarcalc.batch.papers import write_serials

    return _print_papers(write_serials(_one_site(options.site), options.out))


def _crews(options: argparse.Namespace) -> int:
    from solarcalc.batch.papers import write_crews

    paths, errors = _site_paths(options.sites)
    if errors:
        raise errors[0]
    return _print_papers(write_crews(paths, options.out, crews=options.crews))


def _class(options: argparse.Namespace) -> int:
    from solarcalc.lessons.classroom import write_class_page

    print(write_class_page(options.folder))
    return OK


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
    print(f"copied to {out / 'workbooks'} and {out / 'data'}")
    print(f"open with: jupyter lab {out / 'workbooks'}")
    print(f"equipment lists stay in {bundled('data') / 'equipment'}; add your own to a site file")
    print('with equipment_files = ["my-equipment.toml"]')
    return OK
