"""Read a finished page the way a browser would meet it; run by the tests that need it."""

from __future__ import annotations

from html.parser import HTMLParser

EVIL = '<script>alert(1)</script> $x_1$ =cmd "q" \'q\' & {{7*7}} [a](javascript:1)'
"""A site name that tries to run, to be maths, a spreadsheet formula, a template and a link."""


class Page(HTMLParser):
    """Elements, attributes and text of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.ids: list[str] = []
        self.words = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        self.ids += [value or "" for name, value in attrs if name == "id"]

    def handle_data(self, data: str) -> None:
        if self.tags[-1:] != ["style"]:
            self.words += data


def assert_stands_alone(text: str) -> Page:
    """Nothing that runs, nothing that is fetched, every anchor unique and found."""
    read = Page(text)
    assert not {"script", "iframe", "object", "embed", "link", "form", "base", "foreignobject",
                "animate", "video", "audio"} & set(read.tags)
    for tag, name, value in read.attributes:
        assert not name.startswith("on"), (tag, name)
        if name in ("src", "href", "xlink:href", "srcset", "action", "background", "poster"):
            # a browser runs nothing in, and fetches nothing for, an SVG that is an image
            assert value.startswith(
                ("#", "data:image/png;base64,", "data:image/svg+xml;base64,")
            ), (tag, name, value)
        if name == "style":
            assert "url(" not in value
    assert "url(" not in text.partition("<style>")[2].partition("</style>")[0]
    assert "@import" not in text
    assert len(read.ids) == len(set(read.ids))
    targets = {value[1:] for _, name, value in read.attributes
               if name == "href" and value.startswith("#")}
    assert targets <= set(read.ids)
    policy = next(value for tag, name, value in read.attributes
                  if tag == "meta" and name == "content" and "default-src" in value)
    assert "default-src 'none'" in policy
    assert "script" not in policy
    return read
