"""No sentence that people read escapes translation: each comes out of gettext, whichever door it leaves by. No lead is
longer than sixty words.

gettext is replaced by one that sets marks about what it says. What then stands between no marks is what people wrote,
names, figures and units, and what stands in sets, sheets and the other reference data; anything else has escaped.
"""

import json
import re
from collections.abc import Iterator, Mapping
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.db.models import CharField, TextField
from django.utils.html import strip_tags
from django.utils.translation import _trans  # type: ignore[attr-defined]  # where every door of gettext leads

from fleet.combustion import FUELS
from fleet.models import Alert, Client, Flag, LimitSetVersion, Record, SheetVersion, User, Visit
from fleet.models.records import content_of
from fleet.models.register import new_id
from fleet.presentation.alerts import flag_message, summary_message
from fleet.presentation.words import MOST_WORDS
from fleet.queries.alerts import summary_items
from tests.cast import NOON
from tests.house import test_access_matrix
from tests.house.test_access_matrix import TABLE, Caller
from tests.reports.reading import words
from tests.sentences.take import lines_of_page

people, things = test_access_matrix.people, test_access_matrix.things
OPENS, CLOSES = "«", "»"  # the paper's fonts hold them
REFERENCE = Path(__file__).parents[2] / "fixtures" / "reference"
# For who writes programs, in the language of the code.
FOR_PROGRAMS = ("api-documentation", "api-schema", "api-limit-set-schema", "api-sheet-schema", "api-card")
# Columns of what people write, of names, and of what a set or a sheet says.
WRITTEN = {
    "AllowedTarget.why", "Analyser.name", "Appliance.name", "Building.address", "Building.name", "Calibration.by",
    "Client.name", "Contractor.address", "Contractor.name", "Correction.reason", "Correction.ended_note",
    "Defect.what", "Delivery.recipient", "Diagnosis.evidence", "Flag.sentence", "FlueGroup.name", "GasSupply.source",
    "LimitSet.name", "LimitSetAssignment.why", "ModelSheet.name", "Person.name", "Qualification.scheme",
    "RequiredCheck.name", "RequiredCheck.why", "StopLevels.evidence", "Tenancy.source", "User.last_name",
    "WorkItem.adjuster", "WorkItem.amount",
}  # fmt: skip
# Of one word, and names too.
NAMES = {
    "Building.time_zone", "ModelSheet.key", "LimitSet.key", "User.username", "Webhook.name", "AllowedTarget.host",
    "Qualification.number",
}  # fmt: skip
UNITS = {"NOx", "ppm", "mbar", "vol", "degC", "SHA", "UTC", "eCFR", "kWh", "GCV", "NCV"}


def marked(said: Any) -> Any:
    return f"{OPENS}{said}{CLOSES}" if said else said


@pytest.fixture
def marking(things: dict[str, str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever goes through gettext stands between two marks; what was kept before has none."""
    for name in ("gettext", "ngettext", "pgettext", "npgettext"):
        through = getattr(_trans, name)
        monkeypatch.setattr(_trans, name, lambda *given, through=through: marked(through(*given)))


def outside(line: str) -> Iterator[str]:
    """What stands between no marks."""
    depth = 0
    for part in re.split(f"([{OPENS}{CLOSES}])", line):
        depth += {OPENS: 1, CLOSES: -1}.get(part, 0)
        if depth <= 0 and part not in (OPENS, CLOSES):
            yield part


def strings(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    for each in value.values() if isinstance(value, Mapping) else value if isinstance(value, list | tuple) else ():
        yield from strings(each)


def worded(said: str) -> tuple[str, ...]:
    """Its words of three letters and more, without codes, hashes and addresses."""
    bare = re.sub(r"\S*(?:[a-z]_[a-z]|://|\w@\w|\d[a-f]|[a-f]\d)\S*|\b[a-f]{4}\b", " ", said.replace("₂", "2"))
    return tuple(each.lower() for each in re.findall(r"[^\W\d_]{3,}", bare))


def rows() -> Iterator[tuple[str, str]]:
    """Every text that a column keeps, with the column's name."""
    for model in apps.get_app_config("fleet").get_models():
        texts = [each for each in model._meta.fields if isinstance(each, CharField | TextField)]
        for row in model._default_manager.all():
            yield from ((f"{model.__name__}.{each.name}", str(getattr(row, each.attname) or "")) for each in texts)


def known() -> dict[str, list[tuple[str, ...]]]:
    """What may stand between no marks, by its first word, the longest first."""
    contents = [*SheetVersion.objects.values_list("content", flat=True)]
    contents += LimitSetVersion.objects.values_list("content", flat=True)
    contents += [json.loads(each.read_text()) for each in REFERENCE.rglob("*.json")]
    texts = {each for content in contents for each in strings(content)} | UNITS
    texts |= {value for column, value in rows() if column in WRITTEN or column in NAMES}
    texts |= {each for record in Record.objects.all() for each in strings(content_of(record))}
    texts |= {fuel.label for fuel in FUELS.values()}
    texts |= {each for steps in Visit.objects.values_list("restore_steps", flat=True) for each in strings(steps)}
    allowed: dict[str, list[tuple[str, ...]]] = {}
    for phrase in sorted({worded(each) for each in texts}, key=len, reverse=True):
        if phrase:
            allowed.setdefault(phrase[0], []).append(phrase)
    return allowed


def lines(answer: Any) -> Iterator[str]:
    kind = answer.get("Content-Type", "")
    if kind.startswith("text/html"):
        yield from lines_of_page(answer.content.decode())[0]
    elif kind == "application/pdf":
        yield words(b"".join(answer.streaming_content) if answer.streaming else answer.content)
    elif kind == "application/json":
        yield from (each for each in strings(answer.json()) if " " in each)


def mails(user: User) -> Iterator[str]:
    flag = Flag.objects.latest("id")
    alert = Alert(flag=flag, user=user, due_at=NOON)
    said = summary_message(user=user, items=summary_items(user, NOON.date()), job_id=new_id())
    for each in (flag_message(flag=flag, alert=alert, job_id=new_id()), said):
        yield from (str(each.subject), *str(each.body).splitlines())


def escaped(allowed: dict[str, list[tuple[str, ...]]], line: str) -> Iterator[str]:
    """The words that stand between no marks and may not."""
    for piece in outside(line):
        left = worded(piece)
        while left:
            said = next((each for each in allowed.get(left[0], ()) if left[: len(each)] == each), ())
            if not said:
                yield left[0]
            left = left[len(said) or 1 :]


def test_rows_keep_no_sentence_but_what_people_wrote(things: dict[str, str]) -> None:
    assert {column: value for column, value in rows() if " " in value and column not in WRITTEN} == {}


@pytest.mark.parametrize("who", ["manager", "technician"])
def test_every_sentence_goes_through_gettext(
    things: dict[str, str], people: dict[str, User], marking: None, who: str
) -> None:
    allowed, caller, found = known(), Caller(people[who]), {}
    for name, row in TABLE.items():
        if name in FOR_PROGRAMS or (who == "technician" and row.kind == "api"):
            continue
        answer = caller.call(row, "GET", caller.path(name, row, things))
        for line in lines(answer):
            found |= dict.fromkeys(escaped(allowed, line), f"{name}: {line[:200]}")
    found |= {each: f"mail: {line}" for line in mails(people[who]) for each in escaped(allowed, line)}
    assert found == {}


LEAD = re.compile(r'<p class="lead">(.*?)</p>', re.DOTALL)


@pytest.mark.parametrize("who", ["manager", "technician", "auditor"])
def test_no_page_leads_with_more_than_sixty_words(things: dict[str, str], people: dict[str, User], who: str) -> None:
    caller, leads = Caller(people[who]), {}
    pages = [caller.path(name, row, things) for name, row in TABLE.items() if row.kind in ("page", "open")]
    begins, ends = NOON.date() - timedelta(days=700), NOON.date()
    pages.append(f"/statements/?client={Client.objects.earliest('id').id}&building=&begins={begins}&ends={ends}")
    for path in pages:
        answer = caller.client.get(path)
        if answer.status_code == 200 and answer["Content-Type"].startswith("text/html"):
            for lead in LEAD.findall(answer.content.decode()):
                leads[path, len(strip_tags(lead).split())] = lead
    assert len(leads) > 10
    assert {path: lead for (path, words), lead in leads.items() if words > MOST_WORDS} == {}
