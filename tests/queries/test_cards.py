"""The card that the phone fetches is the one by which the server judges."""

from datetime import date
from typing import Any

from fleet.models import Analyser, Appliance, LimitSet, User
from fleet.queries.cards import card_for
from fleet.services.limits import attach_limit_set
from tests.cast import NOON, store


def test_the_card_of_the_day_is_the_card_that_a_visit_of_that_day_is_judged_by(
    body: dict[str, Any], boiler: Appliance, analyser: Analyser, manager: User
) -> None:
    for limit_set in LimitSet.objects.all():
        place = {"limit_set": limit_set, "building": boiler.building, "since": "2025-01-01", "why": "a trial"}
        attach_limit_set(values=place, actor=manager, now=NOON)
    visit = store(body, manager)
    made = card_for(boiler, date(2026, 3, 2), analyser).table
    assert made == visit.judgement.card
    assert made["limits"]


def test_a_set_counts_only_while_it_is_attached(boiler: Appliance, manager: User) -> None:
    limit_set = LimitSet.objects.earliest("id")
    place = {
        "limit_set": limit_set,
        "appliance": boiler,
        "since": "2025-01-01",
        "until": "2025-12-31",
        "why": "a trial",
    }
    attach_limit_set(values=place, actor=manager, now=NOON)

    def sets_on(day: date) -> set[str]:
        card = card_for(boiler, day).table
        return {each["set_id"] for each in card["limits"] + card["left_out"]}

    assert sets_on(date(2025, 12, 31)) == {limit_set.key}
    assert sets_on(date(2026, 1, 1)) == set()
