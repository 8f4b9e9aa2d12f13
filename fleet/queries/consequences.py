"""What a draft of a sheet or a limit set would change, for somebody who is about to record it. Nothing is written."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from fleet.assess.consequences import Consequence, consequences_of
from fleet.assess.judging.comparing import Draft
from fleet.models import LimitSet, LimitSetVersion, ModelSheet, SheetVersion, User
from fleet.presentation.consequences import consequences_summary, milder_words, nothing_new_words
from fleet.presentation.contents import Difference, limit_set_differences, sheet_differences
from fleet.queries.access import visible_clients

# ---- all of it, for somebody who is about to record the draft ----


@dataclass(frozen=True)
class Preview:
    """What a draft says differently from today's version, the milder first, and what would change with it.

    changed : appliances that the viewer may see and that something changes for. moved : as many more keep their
    verdicts, though what they are held against is told otherwise; same : for as many nothing changes; unread : of all
    these no visit has readings. unseen : as many more change, of clients that the viewer may not see.
    """

    based_on: int
    number: int
    day: date
    differences: tuple[Difference, ...]
    changed: tuple[Consequence, ...]
    moved: int
    same: int
    unread: int
    unseen: int

    @property
    def count(self) -> int:
        return len(self.changed) + self.moved + self.same + self.unseen

    @property
    def summary(self) -> str:
        if not self.differences and self.based_on:
            return nothing_new_words(self.based_on)
        counts = len(self.changed) + self.unseen, self.moved, self.same, self.unread, self.unseen
        return " ".join(filter(None, (milder_words(self.differences), consequences_summary(*counts))))


def preview_sheet(*, sheet: ModelSheet, content: dict[str, Any], viewer: User, day: date) -> Preview:
    """What would change if `content`, a checked sheet, became the next version on that day. Nothing is written."""
    current = sheet.current
    draft = SheetVersion(sheet=sheet, number=current.number + 1 if current else 1, content=content)
    return _preview(draft, sheet_differences(current.content if current else {}, content), viewer, day)


def preview_limit_set(*, limit_set: LimitSet, content: dict[str, Any], viewer: User, day: date) -> Preview:
    """The same for a limit set. Its next version is unreviewed until a named person has reviewed it."""
    current = limit_set.current
    draft = LimitSetVersion(
        limit_set=limit_set, number=current.number + 1 if current else 1, content=content, evidence=content["evidence"]
    )
    return _preview(draft, limit_set_differences(current.content if current else {}, content), viewer, day)


def _preview(draft: Draft, differences: Sequence[Difference], viewer: User, day: date) -> Preview:
    found = consequences_of(draft, day=day) if differences else []
    mine = set(visible_clients(viewer).values_list("id", flat=True))
    changed = [each for each in found if each.changes]
    others = [each for each in found if not each.changes]
    return Preview(
        based_on=draft.number - 1,
        number=draft.number,
        day=day,
        differences=tuple(sorted(differences, key=lambda each: not each.milder)),
        changed=tuple(each for each in changed if each.appliance.building.client_id in mine),
        moved=sum(each.otherwise for each in others),
        same=sum(not each.otherwise for each in others),
        unread=sum(each.visit is None for each in found),
        unseen=sum(each.appliance.building.client_id not in mine for each in changed),
    )
