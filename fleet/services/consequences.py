"""What a new version of a sheet or a limit set would change, said before anybody records it. Nothing is written.

The past is not judged again: a record keeps the verdict of its day. What is compared is the newest visit of each
appliance, as if the same had been read today: once with today's versions, once with the draft in place of its own.
"""

import json
import uuid
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet.assess.consequences import newest_read_visits
from fleet.assess.due.duties import appliances_reached, duties_of
from fleet.assess.due.reckoning import reckon
from fleet.assess.due.set_rules import SetRule, set_rules
from fleet.assess.judging.cards import card_for
from fleet.assess.judging.cases import cases_of
from fleet.assess.judging.outcomes import outcome_of
from fleet.limits import evaluate
from fleet.limits.sentences import figure
from fleet.models import (
    Analyser,
    Appliance,
    Duty,
    LimitSet,
    LimitSetAttachment,
    LimitSetVersion,
    ModelSheet,
    SheetVersion,
    User,
    Visit,
)
from fleet.models.appliances import not_gone
from fleet.queries.access import visible_clients
from fleet.queries.contents import Difference, limit_set_differences, sheet_differences

Draft = SheetVersion | LimitSetVersion
Row = Mapping[str, Any]

GROUPS = ("bands", "orders", "ceilings", "limits")
NOT_SAID = {"outcome": "", "limit_text": ""}


@dataclass(frozen=True)
class VerdictChange:
    """One reading against one limit, before and after. An outcome is empty where the limit did not stand there.

    label, value, at : "CO2", "9.49 %", "high, as left". source : the sheet or set that the limit stands in.
    before, after : the outcome; limit_before, limit_after : the figures to keep. now : the verdict by the draft, whole.
    """

    source: str
    label: str
    value: str
    at: str
    before: str
    after: str
    limit_before: str
    limit_after: str
    is_left: bool
    now: Row | None = None

    @property
    def outcome_changes(self) -> bool:
        return self.before != self.after

    @property
    def sentence(self) -> str:
        said = {"what": self._what, "before": _outcome_words(self.before, self.limit_before)}
        said["after"] = _outcome_words(self.after, self.limit_after)
        if not self.before:
            return _("%(what)s: not held against this one until now, %(after)s from now on.") % said
        if not self.after:
            return _("%(what)s: %(before)s until now, not held against this one from now on.") % said
        return _("%(what)s: %(before)s until now, %(after)s from now on.") % said

    @property
    def _what(self) -> str:
        read = " ".join(filter(None, (self.label, self.value, _("at %s") % self.at if self.at else "")))
        return _("%(read)s, by the limits of %(source)s") % {"read": read, "source": self.source}


@dataclass(frozen=True)
class DueChange:
    """When a duty falls due before and after; None where it has no date. words: the arithmetic by the draft.

    doubt_before, doubt_after : why that date is the earliest only, or why there is none; empty where it is certain.
    """

    name: str
    before: date | None
    after: date | None
    words: str
    doubt_before: str = ""
    doubt_after: str = ""

    @property
    def sentence(self) -> str:
        said = {
            "name": self.name,
            "before": _day_words(self.before, self.doubt_before),
            "after": _day_words(self.after, self.doubt_after),
        }
        return _("%(name)s: due %(before)s until now, %(after)s from now on.") % said


def _day_words(day: date | None, doubt: str) -> str:
    said = str(day) if day else _("no date")
    if not doubt:
        return said
    shown = {"day": said, "why": doubt}
    return _("%(day)s at the earliest (%(why)s)") % shown if day else _("%(day)s (%(why)s)") % shown


@dataclass(frozen=True)
class Consequence:
    """How a draft changes what is said of one appliance. visit : None where none of its visits has read anything.

    moved : verdicts that stay as they are though the figures to keep are others. newly, no_longer : limits that begin
    or cease to apply to it, in words.
    """

    appliance: Appliance
    visit: Visit | None
    outcome_before: str
    outcome_after: str
    verdicts: tuple[VerdictChange, ...]
    moved: int
    newly: tuple[str, ...]
    no_longer: tuple[str, ...]
    dues: tuple[DueChange, ...]

    @property
    def changes(self) -> bool:
        return bool(self.verdicts or self.newly or self.no_longer or self.dues) or self.outcome_changes

    @property
    def outcome_changes(self) -> bool:
        return self.outcome_before != self.outcome_after

    @property
    def sentences(self) -> list[str]:
        """What changes, the whole outcome first."""
        said = []
        if self.outcome_changes and self.visit:
            words = _(
                "Read as on %(day)s it would be %(after)s from now on, where today it is %(before)s. Its record keeps "
                "the verdict of its day."
            )
            outcomes = {"before": _whole_words(self.outcome_before), "after": _whole_words(self.outcome_after)}
            said.append(words % {"day": self.visit.local_date, **outcomes})
        said += [each.sentence for each in self.verdicts]
        said += [_("Begins to apply: %s.") % each for each in self.newly]
        said += [_("Ceases to apply: %s.") % each for each in self.no_longer]
        return said + [each.sentence for each in self.dues]


def _whole_words(outcome: str) -> str:
    """How an appliance stands over all its limits."""
    known = {
        "within": _("within the limits as recorded"),
        "outside": _("outside the limits as recorded"),
        "in part": _("judged in part"),
    }
    return known.get(outcome, outcome)


def consequences_of(draft: Draft, *, day: date) -> list[Consequence]:
    """For each appliance that has the sheet, or that the set reaches on that day, what the draft would change.

    draft : a version that isn't stored, with its `sheet` or `limit_set`, its number and its content. The newest visit
    with readings is judged as if read on `day`; what changes comes first, then by building and name.
    """
    appliances = _under(draft, day)
    visits = newest_read_visits(each.id for each in appliances)
    dues = _dues(draft, appliances, day)
    tables = _Tables(draft, day)
    made = [_consequence(tables, each, visits.get(each.id), dues.get(each.id, ())) for each in appliances]
    return sorted(made, key=lambda each: (not each.changes, each.appliance.building.name, each.appliance.name))


def _under(draft: Draft, day: date) -> list[Appliance]:
    known = Appliance.objects.filter(not_gone(day)).select_related("building__client", "sheet", "flue_group")
    related = known.prefetch_related("sheet__versions", "building__gas_supplies")
    if isinstance(draft, SheetVersion):
        return list(related.filter(sheet=draft.sheet_id))
    reached = {each.id for attached in _attachments(draft, day) for each in appliances_reached(attached, day)}
    return list(related.filter(id__in=reached))


def _attachments(draft: LimitSetVersion, day: date) -> list[LimitSetAttachment]:
    return list(_in_force(day).filter(limit_set=draft.limit_set_id))


def _in_force(day: date) -> QuerySet[LimitSetAttachment]:
    return LimitSetAttachment.objects.filter(Q(until__isnull=True) | Q(until__gte=day), since__lte=day)


class _Tables:
    """The tables by which an appliance is judged today and by the draft.

    Appliances alike in all that a card is compiled from share theirs: compiling one takes longer than judging by it.
    """

    def __init__(self, draft: Draft, day: date) -> None:
        self.draft, self.day = draft, day
        self.attached = list(_in_force(day).values_list("limit_set", "client", "building", "appliance"))
        self.made: dict[tuple[Any, ...], list[dict[str, Any]]] = {}

    def of(self, appliance: Appliance, visit: Visit | None) -> list[dict[str, Any]]:
        analyser = next((each.analyser for each in visit.readings.all() if each.analyser), None) if visit else None
        alike = self._alike(appliance, visit, analyser)
        if alike not in self.made:
            versions = (None, self.draft)
            self.made[alike] = [
                card_for(appliance, self.day, analyser, visit=visit, instead=each).table for each in versions
            ]
        return self.made[alike]

    def _alike(self, appliance: Appliance, visit: Visit | None, analyser: Analyser | None) -> tuple[Any, ...]:
        """All that `queries.cards.card_for` asks of its arguments, for this day."""
        building = appliance.building
        places = {building.client_id, building.id, appliance.id}
        sets = frozenset(limit_set for limit_set, *place in self.attached if not places.isdisjoint(place))
        burnt = (visit.fuel, visit.fuel_composition) if visit else tuple(appliance.burns_on(self.day))
        facts = json.dumps([appliance.kind, appliance.facts, burnt], sort_keys=True)
        return appliance.sheet_id, sets, building.time_zone, facts, analyser.id if analyser else None


def _consequence(tables: _Tables, appliance: Appliance, visit: Visit | None, dues: Sequence[DueChange]) -> Consequence:
    """Of a visit as if repeated: under the sheet that the appliance has, on the day asked about."""
    if visit is not None:
        visit.sheet_id = appliance.sheet_id
    both = tables.of(appliance, visit)
    newly, no_longer = _applying(*both)
    said = _judged(visit, both) if visit else [("", []), ("", [])]
    changed = list(_changed(said[0][1], said[1][1]))
    return Consequence(
        appliance=appliance,
        visit=visit,
        outcome_before=said[0][0],
        outcome_after=said[1][0],
        verdicts=tuple(sorted((each for each in changed if each.outcome_changes), key=lambda each: not each.is_left)),
        moved=sum(not each.outcome_changes for each in changed),
        newly=newly,
        no_longer=no_longer,
        dues=tuple(dues),
    )


# ---- verdicts ----


def _judged(visit: Visit, tables: Iterable[dict[str, Any]]) -> list[tuple[str, list[Row]]]:
    """By each table the outcome and all verdicts."""
    cases, readings = cases_of(visit), list(visit.readings.all())
    said = [evaluate(table, cases).as_json() for table in tables]
    return [(outcome_of(each, readings)["outcome"], each["verdicts"]) for each in said]


def _changed(before: Iterable[Row], after: Iterable[Row]) -> Iterator[VerdictChange]:
    """Verdicts whose outcome or figures differ, each row of the card at each reading held against itself.

    A reading that no limit met is no verdict on anything: what merely lacked a reading before and after is left out.
    """
    earlier, later = _by_place(before), _by_place(after)
    for place in dict.fromkeys([*earlier, *later]):
        then, now = earlier.get(place, NOT_SAID), later.get(place, NOT_SAID)
        if (then["outcome"], then["limit_text"]) == (now["outcome"], now["limit_text"]):
            continue
        about = now if now is not NOT_SAID else then
        if about["reading_key"] is None and about["outcome"] in ("not judged", ""):
            continue
        yield _verdict_change(about, then, now)


def _by_place(verdicts: Iterable[Row]) -> dict[tuple[Any, ...], Row]:
    """By row of the card and reading; rows of one name are told apart by their order."""
    seen: Counter[tuple[Any, ...]] = Counter()
    placed = {}
    for each in verdicts:
        place = tuple(each[name] for name in ("kind", "set_id", "limit_id", "quantity", "reading_key", "rate", "phase"))
        seen[place] += 1
        placed[(*place, seen[place])] = each
    return placed


def _verdict_change(about: Row, then: Row, now: Row) -> VerdictChange:
    phase = {"check": _("between")}.get(about["phase"] or "", about["phase"])
    return VerdictChange(
        source=about["set_name"],
        label=about["label"],
        value=_value(about),
        at=", ".join(filter(None, (about["rate"], phase))),
        before=then["outcome"],
        after=now["outcome"],
        limit_before=_limit(then),
        limit_after=_limit(now),
        is_left=about["phase"] == "as left",
        now=None if now is NOT_SAID else now,
    )


def _value(verdict: Row) -> str:
    if verdict["value"] is None:
        return ""
    said = "" if verdict["qualifier"] in ("=", "not measured") else f"{verdict['qualifier']} "
    return f"{said}{figure(verdict['value'], verdict['lower'], verdict['upper'])} {verdict['unit']}".strip()


def _limit(verdict: Row) -> str:
    return f"{verdict['limit_text']} {verdict['unit']}".strip() if verdict["limit_text"] else ""


def _outcome_words(outcome: str, limit: str) -> str:
    known = {"cannot tell": _("can't be decided"), "not judged": _("not judged")}
    return f"{known.get(outcome, outcome)} ({limit})" if limit else known.get(outcome, outcome)


# ---- limits that begin or cease to apply ----


def _applying(before: Row, after: Row) -> tuple[tuple[str, ...], tuple[str, ...]]:
    earlier, later = _rows(before), _rows(after)
    newly = [_row_words(row) for key, row in later.items() if key not in earlier]
    return tuple(newly), tuple(_row_words(row) for key, row in earlier.items() if key not in later)


def _rows(table: Row) -> dict[tuple[str, str, str], Row]:
    rows = (row for group in GROUPS for row in table.get(group, ()))
    return {(row["kind"], row["set_id"], row["limit_id"]): row for row in rows}


def _row_words(row: Row) -> str:
    at = "" if row["rates"] is None else _(" at %s") % row["rate_text"]
    unclear = _(", if %s says so, which is not recorded") % ", ".join(row["unrecorded"]) if row["unrecorded"] else ""
    return f"{row['label']} {_limit(row)}{at}{unclear}"


# ---- due dates ----


def _dues(draft: Draft, appliances: Sequence[Appliance], day: date) -> dict[uuid.UUID, list[DueChange]]:
    """Each duty whose date or existence the draft would change, by appliance."""
    if isinstance(draft, SheetVersion):
        before, after = _by_facts(draft, appliances)
    else:
        before, after = _by_rule(draft, appliances, day)
    reckoned = {
        side: {_key(each.duty): each for each in reckon(duties)}
        for side, duties in (("before", [(each, day) for each in before]), ("after", [(each, day) for each in after]))
    }
    changes: dict[uuid.UUID, list[DueChange]] = {}
    for key in dict.fromkeys([*reckoned["before"], *reckoned["after"]]):
        then, now = reckoned["before"].get(key), reckoned["after"].get(key)
        days = (then.due.due if then else None, now.due.due if now else None)
        doubts = (then.due.cannot_tell if then else "", now.due.cannot_tell if now else "")
        if days[0] != days[1] or doubts[0] != doubts[1] or (then is None) != (now is None):
            change = DueChange(key[-1], *days, now.words if now else "", *doubts)
            changes.setdefault(key[0], []).append(change)
    return changes


def _key(duty: Duty) -> tuple[uuid.UUID, uuid.UUID | None, str, str]:
    return duty.appliance_id, duty.attachment_id, duty.part, duty.name


def _standing(appliances: Iterable[Appliance]) -> list[Duty]:
    return list(duties_of(each.id for each in appliances).filter(until__isnull=True))


def _by_facts(draft: SheetVersion, appliances: Sequence[Appliance]) -> tuple[list[Duty], list[Duty]]:
    """Duties as they stand, and with the facts of the draft in place of those of today's sheet.

    A fact recorded for the appliance itself still goes before the sheet's.
    """
    current = draft.sheet.current
    facts = _facts(draft.content)
    if _facts(current.content if current else {}) == facts:
        return [], []
    before = _standing(appliances)
    after = []
    for each in before:
        duty, appliance = copy(each), copy(each.appliance)
        appliance.facts = facts | {name.lower(): value for name, value in appliance.facts.items()}
        duty.appliance = appliance
        after.append(duty)
    return before, after


def _facts(content: Row) -> dict[str, Any]:
    """What interval rules ask of a sheet, None where it doesn't say (see queries.appliances.facts_of)."""
    output_kw, control = content.get("rated_output_kw"), content.get("control")
    return {
        "condensing": content.get("condensing"),
        "control": control,
        "self_calibrating": None if control is None else control == "self-adapting",
        "output_kw": None if output_kw is None else float(output_kw),
    }


def _by_rule(draft: LimitSetVersion, appliances: Sequence[Appliance], day: date) -> tuple[list[Duty], list[Duty]]:
    """Duties of the set as they stand, and by the interval rules of the draft: some begin, some end with them."""
    rules, attached = {each.part: each for each in set_rules(draft.limit_set, draft.content)}, _attachments(draft, day)
    before = [each for each in _standing(appliances) if each.attachment_id in {one.id for one in attached}]
    after = []
    for each in (one for one in before if one.part in rules):
        duty = copy(each)
        duty.rule, duty.regime = rules[each.part].rule, rules[each.part].regime
        after.append(duty)
    known = {each.id: each for each in appliances}
    standing = {(each.appliance_id, each.attachment_id, each.part) for each in before}
    for one in (each for each in attached if each.until is None):
        for appliance in (known[each.id] for each in appliances_reached(one, day)):
            after += [
                _beginning(one, appliance, rule)
                for rule in rules.values()
                if (appliance.id, one.id, rule.part) not in standing
            ]
    return before, after


def _beginning(attachment: LimitSetAttachment, appliance: Appliance, rule: SetRule) -> Duty:
    """The duty that the attachment would put on the appliance; see services.duties.open_duties."""
    return Duty(
        appliance=appliance, attachment=attachment, part=rule.part, name=rule.name, source="limit set", rule=rule.rule,
        regime=rule.regime, since=attachment.since,
    )  # fmt: skip


# ---- all of it, for somebody who is about to record the draft ----


@dataclass(frozen=True)
class Preview:
    """What a draft says differently from today's version, and what would change with it.

    changed : appliances that the viewer may see and that something changes for. moved : as many more are held against
    other figures with the same verdicts; same : for as many nothing changes; unread : of all these no visit has
    readings. unseen : as many more change, of clients that the viewer may not see.
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
            return _("It says nothing that version %d doesn't say.") % self.based_on
        if not self.count:
            return _("No appliance is under it, so nothing changes for any.")
        changing = len(self.changed) + self.unseen
        said = {"changing": changing, "all": self.count, "moved": self.moved}
        of_one = _("One appliance is under it; it changes.") if changing else _("One appliance is under it.")
        of_all = ngettext(
            "Of %(all)d appliances under it %(changing)d changes.",
            "Of %(all)d appliances under it %(changing)d change.",
            changing,
        )
        words = [of_one if self.count == 1 else of_all % said]
        if not (changing or self.moved):
            words.append(_("Nothing changes."))
        if self.moved:
            words.append(_("%(moved)d are held against other figures with the same verdicts.") % said)
        if self.unread:
            words.append(_("%d of them have no visit with readings.") % self.unread)
        if self.unseen:
            words.append(_("%d that change are of clients that you may not see.") % self.unseen)
        return " ".join(words)


def preview_sheet(*, sheet: ModelSheet, content: dict[str, Any], viewer: User, day: date) -> Preview:
    """What would change if `content`, a checked sheet, became the next version on that day. Nothing is written."""
    current = sheet.current
    draft = SheetVersion(sheet=sheet, number=current.number + 1 if current else 1, content=content)
    return _preview(draft, sheet_differences(current.content if current else {}, content), viewer, day)


def preview_limit_set(*, limit_set: LimitSet, content: dict[str, Any], viewer: User, day: date) -> Preview:
    """The same for a limit set. Its next version is unreviewed until a named person has reviewed it."""
    current = limit_set.current
    draft = LimitSetVersion(
        limit_set=limit_set,
        number=current.number + 1 if current else 1,
        content=content,
        evidence=content["evidence"],
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
        differences=tuple(differences),
        changed=tuple(each for each in changed if each.appliance.building.client_id in mine),
        moved=sum(each.moved > 0 for each in others),
        same=sum(each.moved == 0 for each in others),
        unread=sum(each.visit is None for each in found),
        unseen=sum(each.appliance.building.client_id not in mine for each in changed),
    )
