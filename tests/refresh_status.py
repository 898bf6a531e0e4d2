"""Write today's fingerprints into [[status.accepted]] and [checked] of site files; names given.

``python tests/refresh_status.py data/sites/*.toml``: only of checks that the file names already,
and of a design that somebody has checked. A real acceptance or approval is of the values that a
person saw, and is looked at again when they change.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

from solarcalc.design import open_design

ACCEPTED = re.compile(r'(?m)^check = "([^"]+)"\nfingerprint = "([^"]+)"$')

APPROVED = re.compile(r'(?m)(^\[checked\]\n(?:[a-z]+ = .*\n)*?)fingerprint = "[^"]*"$')


def refreshed(path: Path) -> str:
    """The file with the fingerprints that its checks have now."""
    design = open_design(path)
    now = {check.key: check.fingerprint for check in design.all_checks}
    text = ACCEPTED.sub(
        lambda found: f'check = "{found[1]}"\nfingerprint = "{now.get(found[1], found[2])}"',
        path.read_text(encoding="utf-8"))
    return APPROVED.sub(rf'\g<1>fingerprint = "{design.fingerprint}"', text)


def main() -> None:
    """Rewrite each file in which a fingerprint is another by now."""
    for path in map(Path, sys.argv[1:]):
        text = refreshed(path)
        if text != path.read_text(encoding="utf-8"):
            path.write_text(text, encoding="utf-8")
            print(path)


if __name__ == "__main__":
    main()
