"""From what somebody typed to a recorded version: shown what would change first, and recorded only as it was shown."""

import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, QueryDict
from django.utils.translation import gettext as _

from fleet import clock
from fleet.assess.consequences import Consequence
from fleet.errors import Conflict
from fleet.evidence import canonical_bytes, sha256_hex
from fleet.models import LimitSet, LimitSetVersion, ModelSheet, SheetVersion
from fleet.models.register import new_id
from fleet.presentation.contents import Difference, limit_set_differences, sheet_differences
from fleet.presentation.reading_rule import ReadingRule
from fleet.presentation.readings import verdict_rule
from fleet.queries.consequences import Preview, preview_limit_set, preview_sheet
from fleet.queries.sheets import LimitSetFacts, SheetFacts, limit_set_for, sheet_for
from fleet.services.appliances import add_sheet_version
from fleet.services.limit_sets import add_limit_set_version
from fleet.services.records import record_once
from fleet.web.guards import viewer_of

Version = SheetVersion | LimitSetVersion
Facts = SheetFacts | LimitSetFacts
MOST_SHOWN = 50


@dataclass(frozen=True)
class Kind:
    """What a sheet and a limit set have each of its own on the way to a version. word : the record's for the entry."""

    word: str
    version: type[Version]
    facts: Callable[..., Facts]
    preview: Callable[..., Preview]
    differences: Callable[[Mapping[str, Any], Mapping[str, Any]], list[Difference]]
    add: Callable[..., Version]


SHEET = Kind("sheet", SheetVersion, sheet_for, preview_sheet, sheet_differences, add_sheet_version)
LIMIT_SET = Kind(
    "limit_set", LimitSetVersion, limit_set_for, preview_limit_set, limit_set_differences, add_limit_set_version
)


@dataclass(frozen=True)
class Shown:
    """A preview on its page. `digest` is of the content that was shown, `id` what it will be recorded under.

    note : why it is shown again instead of recorded. meanwhile : what the version that came in between changed.
    status : 409 where one came in between.
    """

    preview: Preview
    digest: str
    id: uuid.UUID
    note: str = ""
    meanwhile: tuple[Difference, ...] = ()
    status: int = 200

    @property
    def rows(self) -> list[tuple[Consequence, ReadingRule | None]]:
        """Each appliance that changes, with the verdict that turns first drawn on the new figures."""
        return [(each, _rule(each)) for each in self.preview.changed[:MOST_SHOWN]]

    @property
    def not_shown(self) -> int:
        return max(0, len(self.preview.changed) - MOST_SHOWN)

    @property
    def may_record(self) -> bool:
        return bool(self.preview.differences)


def _rule(consequence: Consequence) -> ReadingRule | None:
    left = next((each.now for each in consequence.verdicts if each.is_left and each.now), None)
    return verdict_rule(left) if left else None


def digest_of(content: dict[str, Any]) -> str:
    return sha256_hex(canonical_bytes(content))


def shown(
    kind: Kind, request: HttpRequest, facts: Facts, content: dict[str, Any], based_on: int, note: str = ""
) -> Shown:
    """What would change on top of the newest version, and what came between it and the one that was opened."""
    said, meanwhile = _overtaken(kind, facts, based_on)
    made: dict[str, Any] = {kind.word: getattr(facts, kind.word), "content": content}
    preview = kind.preview(**made, viewer=viewer_of(request), day=clock.today())
    return Shown(preview, digest_of(content), new_id(), said or note, meanwhile, 409 if said else 200)


def recorded(
    kind: Kind, request: HttpRequest, entry: ModelSheet | LimitSet, content: dict[str, Any], based_on: int
) -> Version | str:
    """The next version, recorded once as it was shown; else why it is to be shown (again), empty for the first time."""
    if request.POST.get("act") != "record":
        return ""
    if request.POST.get("shown") != digest_of(content):
        return not_as_shown()
    try:
        return _record(kind, request, entry, content, based_on)
    except Conflict as refused:
        if refused.code != "changed_meanwhile":
            raise
        return ""


def _record(
    kind: Kind, request: HttpRequest, entry: ModelSheet | LimitSet, content: dict[str, Any], based_on: int
) -> Version:
    id, of = _id_given(request.POST), {kind.word: entry}
    version, _made = record_once(
        kind=f"{kind.word}_version",
        id=id,
        model=kind.version,
        says={kind.word: str(entry.id), "content": content},
        add=lambda: kind.add(
            **of, content=content, actor=viewer_of(request), now=clock.now(), id=id, based_on=based_on
        ),
    )
    return version


def number_based_on(post: QueryDict) -> int:
    """The version that the page was made from; a page that doesn't say is taken for one made from none."""
    given = post.get("based_on", "")
    return int(given) if given.isascii() and given.isdigit() and len(given) < 9 else 0


def _id_given(post: QueryDict) -> uuid.UUID:
    """What it is to be recorded under, so that a second click records no second version."""
    try:
        return uuid.UUID(post.get("id", ""))
    except ValueError:
        return new_id()


def _overtaken(kind: Kind, facts: Facts, based_on: int) -> tuple[str, tuple[Difference, ...]]:
    """What came meanwhile, in words, and what it changed; empty where the page was made from the newest version."""
    newest = facts.current
    if newest is None or newest.number == based_on:
        return "", ()
    said = _("Version %(number)d came meanwhile, from %(who)s. Nothing was recorded; what you typed is kept below.")
    before = next((each.content for each in facts.versions if each.number == based_on), {})
    changed = kind.differences(before, newest.content)
    return said % {"number": newest.number, "who": newest.record.actor}, tuple(changed)


def not_as_shown() -> str:
    return _("What was sent is not what was shown. This is what would change now; record it if it is right.")
