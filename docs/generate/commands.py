"""Every command with its options, from the argument parser."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

from generate.markdown import code, fenced, table, text

from solarcalc.cli import DEBUG, command_parser

STATUS = (
    ("0", "all well"), ("1", "something failed: each reason on standard error"),
    ("2", "wrong usage"), ("129, 130, 143", "ended by SIGHUP, Ctrl-C, SIGTERM"),
)


def pages(_: Path) -> Iterator[tuple[str, str]]:
    """One page."""
    parts = ["# Commands", text(command_parser().epilog or ""),
             "A variant of a site is called `SITE:variant`. `solarcalc COMMAND --help` prints the"
             " same words."]  # fmt: skip
    for name, told, parser in commands():
        parts += [f"## solarcalc {name}", f"{text(told)[:1].upper()}{text(told)[1:]}.",
                  fenced(parser.format_usage().removeprefix("usage: "))]
        rows = [(", ".join(map(code, words)), text(said)) for words, said in options(parser)]
        parts.append(table(("argument", "what it does"), rows))
    parts += ["## Exit status", table(("status", "meaning"), STATUS),
              f"With {code(DEBUG + '=1')} in the environment, tracebacks and warnings of libraries"
              " are shown."]  # fmt: skip
    yield "commands.md", "\n\n".join(parts) + "\n"


def commands() -> Iterator[tuple[str, str, argparse.ArgumentParser]]:
    """Name, help and parser of each command."""
    (several,) = [one for one in command_parser()._actions
                  if isinstance(one, argparse._SubParsersAction)]  # fmt: skip
    told = {one.dest: one.help or "" for one in several._choices_actions}
    for name, parser in several.choices.items():
        yield name, told[name], parser


def options(parser: argparse.ArgumentParser) -> Iterator[tuple[list[str], str]]:
    """Words of each argument of a command, and its help."""
    for one in parser._actions:
        if isinstance(one, argparse._HelpAction):
            continue
        shown = str(one.metavar or one.dest.upper())
        words = list(one.option_strings) or [shown]
        if one.option_strings and one.nargs != 0:
            words = [f"{word} {shown}" for word in words]
        yield words, one.help or ""
