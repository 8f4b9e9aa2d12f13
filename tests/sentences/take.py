"""Every sentence that the service says of its demonstration, at a fixed clock: pages, papers and the API.

    python -m tests.sentences.take FILE [--keep-figures]

Loads the demonstration into a throw-away folder, walks every page that a manager and an auditor can reach, opens a
sample of the papers, reads the API's lists, and writes each distinct line once, sorted. Figures, days and ids become
`#` unless they are to be kept. `make sentences` compares with `said.txt` beside this file: what a change says anew or
no longer is read by a person before the file is written again.
"""

import argparse
import datetime
import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from fleet import clock

MOMENT = datetime.datetime(2026, 11, 30, 8, 0, tzinfo=datetime.UTC)
BLOCKS = {
    "address", "article", "aside", "button", "caption", "dd", "details", "div", "dl", "dt", "fieldset", "figcaption",
    "figure", "footer", "form", "h1", "h2", "h3", "h4", "header", "label", "legend", "li", "main", "nav", "ol",
    "option", "p", "pre", "section", "summary", "svg", "table", "tbody", "td", "text", "tfoot", "th", "thead", "title",
    "tr", "ul",
}  # fmt: skip
PAPERS_EVERY = 25
MOST_PAGES = 4000
API_LISTS = (
    "appliances", "attention", "background-work", "buildings", "defects", "deliveries", "flags", "forecasts",
    "limit-sets", "records", "revisits", "visits",
)  # fmt: skip


class _Lines(HTMLParser):
    """The text of each block of a page, and the addresses it links to."""

    def __init__(self) -> None:
        super().__init__()
        self.lines: list[str] = []
        self.links: list[str] = []
        self._held: list[str] = []
        self._unseen = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag in BLOCKS:
            self._close()
        if tag in ("script", "style"):
            self._unseen += 1
        if tag == "a" and (address := given.get("href")):
            self.links.append(address)
        for name in ("aria-label", "title", "placeholder", "alt"):
            if said := given.get(name):
                self.lines.append(said)

    def handle_endtag(self, tag: str) -> None:
        if tag in BLOCKS:
            self._close()
        if tag in ("script", "style"):
            self._unseen -= 1

    def handle_data(self, data: str) -> None:
        if not self._unseen:
            self._held.append(data)

    def _close(self) -> None:
        if said := " ".join("".join(self._held).split()):
            self.lines.append(said)
        self._held = []


def lines_of_page(body: str) -> tuple[list[str], list[str]]:
    """The lines that a page says, and where it links to."""
    read = _Lines()
    read.feed(body)
    read.close()
    read.handle_endtag("p")
    return read.lines, read.links


def walk(client: Any) -> Iterator[str]:
    """The lines of every page that can be reached by links from the first one, each address once."""
    seen, waiting = {"/"}, ["/"]
    while waiting and len(seen) < MOST_PAGES:
        answer = client.get(waiting.pop(0))
        if answer.status_code != 200 or not answer["Content-Type"].startswith("text/html"):
            continue
        lines, links = lines_of_page(answer.content.decode())
        yield from lines
        for link in links:
            address = link.partition("#")[0]
            if address.startswith("/") and address not in seen and not _is_left_out(address):
                seen.add(address)
                waiting.append(address)


def _is_left_out(address: str) -> bool:
    return address.startswith(("/api/", "/log-out", "/static/")) or address.endswith((".pdf", ".csv", ".json", ".ics"))


def papers(client: Any, visit_ids: list[Any]) -> Iterator[str]:
    """The lines of a sample of the visits' papers."""
    for each in visit_ids[::PAPERS_EVERY]:
        answer = client.get(f"/visits/{each}/paper.pdf")
        paper = b"".join(answer.streaming_content) if answer.streaming else answer.content
        read = subprocess.run(["pdftotext", "-layout", "-", "-"], input=paper, capture_output=True, check=True)
        yield from (" ".join(line.split()) for line in read.stdout.decode().splitlines() if line.strip())


def api_strings(client: Any) -> Iterator[str]:
    """Every string of more than one word in the first page of the API's lists."""
    for name in API_LISTS:
        answer = client.get(f"/api/v1/{name}")
        if answer.status_code == 200:
            yield from (each for each in _strings(answer.json()) if " " in each)


def _strings(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for each in value.values():
            yield from _strings(each)
    elif isinstance(value, list):
        for each in value:
            yield from _strings(each)


def masked(line: str, names: list[str]) -> str:
    """The line with names as `@`, months, ids and figures as `#`, so that one sentence of many figures is one line."""
    line = re.sub(r"(SHA|UTC).{16,}$", r"\1", line)
    for name in names:
        line = line.replace(name, "@")
    line = re.sub(r"\b[0-9a-f]{8}-[0-9a-f-]{27}\b|\b[0-9a-f]{12,64}\b", "#", line)
    line = re.sub(r"[0-9a-f]{4} [0-9a-f]{4} [0-9a-f]{4}.*$", "#", line)
    line = re.sub(
        r"\b(January|February|March|April|May|June|July|August|September|October|November|December)\b", "#", line
    )
    return re.sub(r"[-−+]?\d+(?:[.,:]\d+)*", "#", line)


def _begin() -> None:
    """Django on a database of its own, with the clock stopped."""
    os.environ["FLEET_VAR_DIR"] = os.environ.get("SENTENCES_VAR_DIR") or tempfile.mkdtemp(prefix="sentences-")
    os.environ["FLEET_LOG_LEVEL"] = "ERROR"
    os.environ["DJANGO_SETTINGS_MODULE"] = "fleet.settings"
    import django

    django.setup()
    from fleet import clock

    clock.now = lambda: MOMENT


def take() -> list[str]:
    """All lines, as said."""
    from django.conf import settings
    from django.core.management import call_command
    from django.test import Client

    from fleet.models import Role, User, Visit
    from fleet.services.access import create_token

    call_command("set_up", demo=True)
    settings.ALLOWED_HOSTS = ["*"]
    said: list[str] = []
    visits = list(Visit.objects.order_by("local_date", "appliance__name", "id").values_list("id", flat=True))
    for role in (Role.MANAGER, Role.AUDITOR):
        user, client = User.objects.filter(role=role, is_active=True).order_by("username").first(), Client()
        client.force_login(user)
        _record, token = create_token(user=user, actor=user, now=clock.now(), name="sentences", scope="read", days=1)
        said += walk(client)
        said += api_strings(Client(headers={"authorization": f"Bearer {token}"}))
        said += papers(client, visits) if role == Role.MANAGER else ()
    return said


def names_used() -> list[str]:
    """What the demonstration calls its places, people and things, longest first."""
    from fleet.models import Analyser, Appliance, Building, Client, Person

    named = {
        name
        for table in (Client, Building, Appliance, Person, Analyser)
        for name in table.objects.values_list("name", flat=True)
    }
    serials = {serial for table in (Appliance, Analyser) for serial in table.objects.values_list("serial", flat=True)}
    return sorted(filter(None, named | serials), key=lambda each: (-len(each), each))


def main() -> int:
    given = argparse.ArgumentParser()
    given.add_argument("file", type=Path)
    given.add_argument("--keep-figures", action="store_true")
    asked = given.parse_args()
    _begin()
    said = take()
    names = [] if asked.keep_figures else names_used()
    lines = {line if asked.keep_figures else masked(line, names) for line in said}
    asked.file.write_text("".join(f"{line}\n" for line in sorted(lines)))
    sys.stdout.write(f"{len(lines)} lines into {asked.file}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
