"""The card that the phone fetches is the one by which the server judges."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.db.models import FloatField

from fleet.assess.judging.cards import card_for
from fleet.intake.sheets import read_sheet
from fleet.models import Analyser, Appliance, LimitSet, StopLevels, User
from fleet.models.register import new_id
from fleet.services.appliances import add_sheet_version
from fleet.services.limit_sets import add_limit_set_version, assign_limit_set
from tests.cast import NOON, SHEET, store


def test_the_card_of_the_day_is_the_card_that_a_visit_of_that_day_is_judged_by(
    body: dict[str, Any], boiler: Appliance, analyser: Analyser, manager: User
) -> None:
    for limit_set in LimitSet.objects.all():
        place = {"limit_set": limit_set, "building": boiler.building, "since": "2025-01-01", "why": "a trial"}
        assign_limit_set(values=place, actor=manager, now=NOON)
    visit = store(body, manager)
    made = card_for(boiler, date(2026, 3, 2), analyser).table
    assert made.as_json() == visit.judgement.card
    assert made.limits


def test_a_set_counts_only_while_it_is_attached(boiler: Appliance, manager: User) -> None:
    limit_set = LimitSet.objects.earliest("id")
    place = {
        "limit_set": limit_set,
        "appliance": boiler,
        "since": "2025-01-01",
        "until": "2025-12-31",
        "why": "a trial",
    }
    assign_limit_set(values=place, actor=manager, now=NOON)

    def sets_on(day: date) -> set[str]:
        card = card_for(boiler, day).table
        return {each.set_id for each in card.limits} | {each["set_id"] for each in card.left_out}

    assert sets_on(date(2025, 12, 31)) == {limit_set.key}
    assert sets_on(date(2026, 1, 1)) == set()


def test_every_figure_of_the_stop_levels_reaches_the_table(boiler: Appliance) -> None:
    lines = StopLevels.objects.get()
    names = [each.name for each in StopLevels._meta.fields if isinstance(each, FloatField)]
    figures = {name: float(number) for number, name in enumerate(names, start=101)}
    StopLevels.objects.filter(id=lines.id).update(**figures)
    rows = card_for(boiler, date(2026, 3, 2)).table.stop_levels
    assert {each.limit for each in rows} == {*figures.values(), "stable"}
    assert {each.evidence for each in rows} == {"own"}


def test_a_card_takes_one_question_for_each_kind_of_version(
    boiler: Appliance, manager: User, django_assert_num_queries: Any
) -> None:
    """Sheet, limit sets, stop levels: however many versions there are."""
    for limit_set in LimitSet.objects.all()[:3]:
        place = {"limit_set": limit_set, "appliance": boiler, "since": "2025-01-01", "why": "a trial"}
        assign_limit_set(values=place, actor=manager, now=NOON)
        newest = limit_set.current
        add_limit_set_version(limit_set=limit_set, content=newest.content, actor=manager, now=NOON, id=new_id())
    appliance = Appliance.objects.select_related("building").prefetch_related("building__gas_supplies").get()
    with django_assert_num_queries(3):
        made = card_for(appliance, date(2026, 3, 2))
    assert [each.number for each in made.limit_sets] == [2, 2, 2]


def test_facts_of_the_sheet_are_those_of_the_days_version(boiler: Appliance, manager: User) -> None:
    assert boiler.sheet is not None
    content = read_sheet(SHEET | {"rated_output_kw": "40", "condensing": False})
    add_sheet_version(sheet=boiler.sheet, content=content, actor=manager, now=NOON + timedelta(days=1), id=new_id())

    def facts(day: date) -> tuple[object, object]:
        known = card_for(boiler, day).table.facts
        return known["output_kw"], known["condensing"]

    assert facts(date(2026, 3, 2)) == (58.0, True)
    assert facts(date(2026, 3, 3)) == (40.0, False)


def test_the_day_of_a_version_is_the_buildings(boiler: Appliance, manager: User) -> None:
    """23:30 UTC on 14 July is the 15th in Lisbon."""
    assert boiler.sheet is not None
    late = datetime(2026, 7, 14, 23, 30, tzinfo=UTC)
    add_sheet_version(sheet=boiler.sheet, content=read_sheet(SHEET), actor=manager, now=late, id=new_id())
    sheets = [card_for(boiler, date(2026, 7, day)).sheet for day in (14, 15)]
    assert [each.number for each in sheets if each] == [1, 2]
