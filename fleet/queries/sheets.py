"""Sheets and limit sets whole: their versions with who made them, who has them and where they apply."""

import uuid
from dataclasses import dataclass
from datetime import date
from typing import Any, Generic, TypeVar

from django.db.models import Count, IntegerField, OuterRef, Prefetch, Q, QuerySet, Subquery

from fleet.assess.refusals import found
from fleet.models import (
    Appliance,
    LimitSet,
    LimitSetAssignment,
    LimitSetVersion,
    ModelSheet,
    SheetVersion,
    StopLevels,
    User,
)
from fleet.models.appliances import not_gone
from fleet.models.drafts import id_of_file
from fleet.queries.access import visible_clients
from fleet.queries.register import all_sheets, visible_appliances


@dataclass(frozen=True)
class SheetFacts:
    """A sheet, its versions from the newest, and the appliances that have it, as far as the viewer may see them."""

    sheet: ModelSheet
    versions: tuple[SheetVersion, ...]
    appliances: tuple[Appliance, ...]

    @property
    def current(self) -> SheetVersion | None:
        return next(iter(self.versions), None)


@dataclass(frozen=True)
class LimitSetFacts:
    """A set, its versions from the newest, and where it applies, as far as the viewer may see the places."""

    limit_set: LimitSet
    versions: tuple[LimitSetVersion, ...]
    assignments: tuple[LimitSetAssignment, ...]
    appliance_count: int

    @property
    def current(self) -> LimitSetVersion | None:
        return next(iter(self.versions), None)


def sheets_at_a_glance(viewer: User, day: date) -> QuerySet[ModelSheet]:
    """Each with its versions and `appliance_count`, of those not gone on this day that the viewer may see."""
    having = visible_appliances(viewer).filter(not_gone(day), sheet=OuterRef("pk")).order_by()
    counted = having.values("sheet").annotate(count=Count("pk")).values("count")
    rows: QuerySet[ModelSheet] = _with_manufacturers(all_sheets(viewer), SheetVersion)
    return rows.annotate(appliance_count=Subquery(counted, output_field=IntegerField()))


def sheet_for(viewer: User, sheet_id: uuid.UUID, day: date) -> SheetFacts:
    """Raises NotFound."""
    sheet = found(_with_manufacturers(all_sheets(viewer), SheetVersion), sheet_id, "There is no such sheet.")
    having = visible_appliances(viewer).filter(not_gone(day), sheet=sheet).order_by("building__name", "name", "id")
    return SheetFacts(sheet, tuple(sheet.versions.all())[::-1], tuple(having))


def limit_sets_at_a_glance(viewer: User, day: date) -> list[LimitSetFacts]:
    """Every set, those that apply somewhere on this day first, each by its key."""
    known = list(_with_manufacturers(all_limit_sets(viewer), LimitSetVersion).order_by("key"))
    assigned = list(_assigned(viewer, day))
    places = list(visible_appliances(viewer).filter(not_gone(day)).values_list("id", "building", "building__client"))
    facts = [_facts(each, [one for one in assigned if one.limit_set_id == each.id], places) for each in known]
    return sorted(facts, key=lambda each: (not each.assignments, each.limit_set.key))


def limit_set_for(viewer: User, limit_set_id: uuid.UUID, day: date) -> LimitSetFacts:
    """Raises NotFound."""
    limit_set = found(
        _with_manufacturers(all_limit_sets(viewer), LimitSetVersion), limit_set_id, "There is no such limit set."
    )
    places = visible_appliances(viewer).filter(not_gone(day)).values_list("id", "building", "building__client")
    return _facts(limit_set, list(_assigned(viewer, day).filter(limit_set=limit_set)), list(places))


def _with_manufacturers(rows: QuerySet, version: type[SheetVersion | LimitSetVersion]) -> QuerySet:  # type: ignore[type-arg]  # of either
    """With each version's record and who made it, without what the record holds."""
    made = version._default_manager.select_related("record__actor").defer("record__content").order_by("number")
    return rows.prefetch_related(None).prefetch_related(Prefetch("versions", made))


def _assigned(viewer: User, day: date) -> QuerySet[LimitSetAssignment]:
    in_force = visible_assignments(viewer).filter(Q(until__isnull=True) | Q(until__gte=day), since__lte=day)
    return in_force.select_related("appliance__building", "decided_by")


def _facts(
    limit_set: LimitSet, assignments: list[LimitSetAssignment], places: list[tuple[uuid.UUID, uuid.UUID, uuid.UUID]]
) -> LimitSetFacts:
    named = {each.appliance_id or each.building_id or each.client_id for each in assignments}
    count = sum(not named.isdisjoint(place) for place in places)
    return LimitSetFacts(limit_set, tuple(limit_set.versions.all())[::-1], tuple(assignments), count)


def all_limit_sets(viewer: User) -> QuerySet[LimitSet]:
    """Limit sets are public knowledge: everybody who is logged in reads them."""
    if not viewer.is_active:
        return LimitSet.objects.none()
    return LimitSet.objects.prefetch_related("versions")


def visible_assignments(viewer: User) -> QuerySet[LimitSetAssignment]:
    clients = visible_clients(viewer)
    place = Q(client__in=clients) | Q(building__client__in=clients) | Q(appliance__building__client__in=clients)
    return LimitSetAssignment.objects.filter(place).select_related("limit_set", "client", "building", "appliance")


def all_stop_levels(viewer: User) -> QuerySet[StopLevels]:
    """Every version: the levels are the contractor's, and everybody who is logged in reads them."""
    return StopLevels.objects.all() if viewer.is_active else StopLevels.objects.none()


Entry = TypeVar("Entry", ModelSheet, LimitSet)


@dataclass(frozen=True)
class Standing(Generic[Entry]):
    """What stands here of a file: the entry that it names, and which of its versions says the same, if any does."""

    entry: Entry | None
    number: int | None

    @property
    def is_known(self) -> bool:
        return self.number is not None


def standing_sheet(viewer: User, file: dict[str, Any]) -> Standing[ModelSheet]:
    """By its external reference, else by what was made of the same file, else by its name."""
    reference = file.get("external_reference")
    known = list(all_sheets(viewer).filter(external_reference=reference)) if reference else []
    known = known or list(all_sheets(viewer).filter(id=id_of_file(file)))
    return _standing(known or list(all_sheets(viewer).filter(name=file["name"]).order_by("id")), file)


def standing_limit_set(viewer: User, file: dict[str, Any]) -> Standing[LimitSet]:
    """By its key, which stays."""
    return _standing(list(all_limit_sets(viewer).filter(key=file["key"])), file)


def _standing(known: list[Entry], file: dict[str, Any]) -> Standing[Entry]:
    for entry in known:
        for version in entry.versions.order_by("-number"):
            if version.content == file["content"]:
                return Standing(entry, version.number)
    return Standing(next(iter(known), None), None)
