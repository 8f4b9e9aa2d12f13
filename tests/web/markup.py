"""A page read as a browser would read it."""

import html
import re
from html.parser import HTMLParser

INVALID = {"meta", "link", "input", "br"}


class Balance(HTMLParser):
    """Reads a page as a browser would and notes what isn't closed, every id and each place that is linked to."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.current: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        assert "style" not in given
        assert not any(key.startswith("on") for key in given)
        self.open += [] if tag in INVALID else [tag]
        self.ids += [given["id"] or ""] if "id" in given else []
        self.links += [given["href"] or ""] if tag == "a" else []
        self.current += [given["href"] or ""] if "aria-current" in given else []

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def read(page: str) -> Balance:
    read = Balance(page)
    assert read.open == []
    assert len(read.ids) == len(set(read.ids))
    assert not re.search(r"<script(?![^>]*\bsrc=)", page)
    return read


def main_of(page: str) -> str:
    """What stands between the head and the foot."""
    return page[page.index("<main") : page.index("</main>")]


def words_of(page: str) -> str:
    """What a page says between head and foot, on one line, without its elements."""
    return " ".join(html.unescape(re.sub("<[^>]*>", " ", main_of(page))).split())
