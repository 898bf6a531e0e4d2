"""Lets an answer be written into its cell as it is said: b, 12,5 % or 517 W, without quotes."""

from __future__ import annotations

import ast
import re
from collections.abc import Container

from IPython import get_ipython

_ANSWER = re.compile(r"(?P<name>my_answer|my_prediction)[ \t]*=[ \t]*(?P<said>[^=\s].*?)\s*")
_QUOTES = "\"'“”‘’«»"


def take_answers_without_quotes() -> None:
    """From now on this notebook takes answers without quotes; nothing outside a notebook.

    Python itself would stop at ``my_answer = 12,5 %`` with an error in words of its own.
    """
    shell = get_ipython()
    if shell is None:
        return
    known = [one for one in shell.input_transformers_cleanup
             if getattr(one, "__name__", "") == "answers_quoted"]  # fmt: skip
    if known:
        return

    def answers_quoted(lines: list[str]) -> list[str]:
        return [with_quotes(line, shell.user_ns) for line in lines]

    shell.input_transformers_cleanup.append(answers_quoted)


def with_quotes(line: str, names: Container[str] = ()) -> str:
    """A line of an answer cell that Python can read; any other line as it is.

    Parameters
    ----------
    line : str
    names : container of str, optional
        Those that the notebook knows: an answer may be worked out with them.

    Examples
    --------
    >>> for said in ("12,5 %", "b", "517 W  # by the sheet", "42.7 * 12.1", '"3 m"', "None"):
    ...     print(with_quotes(f"my_answer = {said}"))
    my_answer = '12,5 %'
    my_answer = 'b'
    my_answer = '517 W'
    my_answer = 42.7 * 12.1
    my_answer = "3 m"
    my_answer = None
    """
    found = _ANSWER.fullmatch(line.rstrip("\n"))
    if found is None or _is_python(found["said"], names):
        return line
    said = found["said"].partition("#")[0].strip().strip(_QUOTES)
    return f"{found['name']} = {said!r}" + "\n" * line.endswith("\n")


def _is_python(said: str, names: Container[str]) -> bool:
    """Whether Python reads it as one value; a comma makes two, an unknown name none."""
    if any(said.count(left) > said.count(right) for left, right in ("()", "[]", "{}")):
        return True  # goes on in the next line
    try:
        tree = ast.parse(said, mode="eval")
    except (SyntaxError, ValueError):
        return False
    if isinstance(tree.body, ast.Tuple):
        return False
    roots = [one.id for one in ast.walk(tree) if isinstance(one, ast.Name)]
    return all(one in names or one in ("abs", "max", "min", "round", "sum") for one in roots)
