"""What a new version of a sheet or a limit set would change for each appliance under it.

The past is not judged again: a record keeps the verdict of its day. What is compared is the newest visit of each
appliance, as if the same had been read today: once with today's versions, once with the draft in place of its own.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from fleet.assess.due.due_changes import DueChange, assignments_on, due_changes
from fleet.assess.due.required_checks import appliances_reached
from fleet.assess.judging.changes import newest_read_visits
from fleet.assess.judging.comparing import (
    Applying,
    Draft,
    Tables,
    VerdictChange,
    applying,
    changed_verdicts,
    judged_by,
    same_for_it,
)
from fleet.models import Appliance, SheetVersion, Visit
from fleet.models.appliances import not_gone


@dataclass(frozen=True)
class Consequence:
    """How a draft changes what is said of one appliance. visit : None where none of its visits has read anything.

    moved : verdicts that stay as they are though the figures to keep, or what would follow, are others. otherwise :
    whether what it is held against, or what is turned on it, is told otherwise, read or not. newly, no_longer : limits
    that begin or cease to apply to it.
    """

    appliance: Appliance
    visit: Visit | None
    outcome_before: str
    outcome_after: str
    verdicts: tuple[VerdictChange, ...]
    moved: int
    otherwise: bool
    newly: tuple[Applying, ...]
    no_longer: tuple[Applying, ...]
    dues: tuple[DueChange, ...]

    @property
    def changes(self) -> bool:
        return bool(self.verdicts or self.newly or self.no_longer or self.dues) or self.outcome_changes

    @property
    def outcome_changes(self) -> bool:
        return self.outcome_before != self.outcome_after


def consequences_of(draft: Draft, *, day: date) -> list[Consequence]:
    """For each appliance that has the sheet, or that the set reaches on that day, what the draft would change.

    draft : a version that isn't stored, with its `sheet` or `limit_set`, its number and its content. The newest visit
    with readings is judged as if read on `day`; what changes comes first, then by building and name.
    """
    appliances = _under(draft, day)
    visits = newest_read_visits(each.id for each in appliances)
    dues = due_changes(draft, appliances, day)
    tables = Tables(draft, day)
    made = [_consequence(tables, each, visits.get(each.id), dues.get(each.id, ())) for each in appliances]
    return sorted(made, key=lambda each: (not each.changes, each.appliance.building.name, each.appliance.name))


def _under(draft: Draft, day: date) -> list[Appliance]:
    known = Appliance.objects.filter(not_gone(day)).select_related("building__client", "sheet", "flue_group")
    related = known.prefetch_related("sheet__versions", "building__gas_supplies")
    if isinstance(draft, SheetVersion):
        return list(related.filter(sheet=draft.sheet_id))
    reached = {each.id for assigned in assignments_on(draft, day) for each in appliances_reached(assigned, day)}
    return list(related.filter(id__in=reached))


def _consequence(tables: Tables, appliance: Appliance, visit: Visit | None, dues: Sequence[DueChange]) -> Consequence:
    """Of a visit as if repeated: under the sheet that the appliance has, on the day asked about."""
    if visit is not None:
        visit.sheet_id = appliance.sheet_id
    both = tables.of(appliance, visit)
    newly, no_longer = applying(*both)
    said = judged_by(visit, both) if visit else [("", ()), ("", ())]
    changed = list(changed_verdicts(said[0][1], said[1][1]))
    return Consequence(
        appliance=appliance,
        visit=visit,
        outcome_before=said[0][0],
        outcome_after=said[1][0],
        verdicts=tuple(sorted((each for each in changed if each.turns), key=lambda each: not each.is_left)),
        moved=sum(not each.turns for each in changed),
        otherwise=not same_for_it(*both),
        newly=newly,
        no_longer=no_longer,
        dues=tuple(dues),
    )
