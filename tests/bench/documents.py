"""Pages, words, tables and size of each document of the demo sites, one JSON object a line.

    python tests/bench/documents.py [--out FOLDER] [SITE ...]

Words and tables are those of the page without drawings, as a reader counts them; pages and
kilobytes are those of the PDF. The calculation appendix is left out: it is made from executed
workbooks. With --out each document is written there too, as HTML and PDF.
"""

from __future__ import annotations

import argparse
import json
import runpy
from pathlib import Path

from bs4 import BeautifulSoup

from solarcalc.documents.catalogue import codes_at, documents_of
from solarcalc.documents.html import document_html
from solarcalc.documents.making import Making
from solarcalc.documents.pdf import document_pdf
from solarcalc.report.letterhead import letterhead_of

CASES = runpy.run_path(str(Path(__file__).parents[1] / "document_cases.py"))
OF_WORKBOOKS = ("CA", "IX")


def main() -> None:
    """Make every document that a site has at its stage, and say how large each is."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("sites", nargs="*", default=sorted(CASES["DEMOS"]))
    asked.add_argument("--out", type=Path)
    given = asked.parse_args()
    for name in given.sites:
        design = CASES["demo"](name)
        making = Making(design=design, firm=letterhead_of(design.sitefile))
        for code in codes_at(design.site.status.stage):
            for document in documents_of(code, making) if code not in OF_WORKBOOKS else ():
                html, pdf = document_html(document), document_pdf(document)
                print(json.dumps({
                    "site": name, "stage": design.site.status.stage, "document": code,
                    "number": document.head.number, "pages": len(CASES["pages_of"](pdf)),
                    "words": len(CASES["html_text"](html).split()),
                    "tables": len(BeautifulSoup(html, "html.parser").find_all("table")),
                    "pdf_kb": round(len(pdf) / 1000.0),
                }), flush=True)  # fmt: skip
                if given.out:
                    given.out.mkdir(parents=True, exist_ok=True)
                    stem = f"{name}-{document.head.number}"
                    (given.out / f"{stem}.html").write_text(html, encoding="utf-8")
                    (given.out / f"{stem}.pdf").write_bytes(pdf)


if __name__ == "__main__":
    main()
