"""What runs out and who goes, on the start page's lists."""

from datetime import date, timedelta
from typing import Any

from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.models import Analyser, Appliance, Person, Revisit, User
from fleet.models.register import new_id
from fleet.presentation.revisits import who_words
from fleet.queries.attention import attention_for
from fleet.services.register import add_calibration
from tests.cast import NOON, make_appliance, make_building


def test_an_analyser_that_failed_has_run_out_on_that_day(analyser: Analyser, manager: User) -> None:
    today = NOON.date()
    assert attention_for(manager, today).expiring == ()
    content = {"done_on": "2026-02-10", "valid_to": "2027-02-10", "certificate": "C-2", "by": "a laboratory"}
    add_calibration(analyser=analyser, content=content | {"passed": False}, actor=manager, now=NOON, id=new_id())
    (ended,) = attention_for(manager, today).expiring
    assert (ended.subject, ended.until) == (analyser, date(2026, 2, 10))


def test_who_goes_is_asked_for_all_days_at_once(
    boiler: Appliance, person: Person, manager: User, django_assert_max_num_queries: Any
) -> None:
    def asked() -> list[str]:
        facts = attention_for(manager, NOON.date())
        return [who_words(each.revisit) for each in facts.due if each.revisit]

    day = NOON.date() + timedelta(days=7)
    for number in range(2):
        place = make_building(boiler.building.client, f"House {number}")
        window = {
            "earliest": day,
            "latest": day,
            "date_set_by": "required_check",
            "why": ["flag", {"sentence": "Yearly.", "figures": {}}],
            "made_at": NOON,
        }
        Revisit.objects.create(
            appliance=make_appliance(place, None), state="booked", day=day, technician=person, **window
        )
    with CaptureQueriesContext(connection) as few:
        assert asked() == ["Ada Test goes."] * 2
    for number in range(2, 6):
        place = make_building(boiler.building.client, f"House {number}")
        Revisit.objects.create(
            appliance=make_appliance(place, None), state="booked", day=day, technician=person, **window
        )
    with django_assert_max_num_queries(len(few)):
        assert asked() == ["Ada Test goes."] * 6
