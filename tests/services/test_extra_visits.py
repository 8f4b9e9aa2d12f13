"""The extra visits: who gets one, in which week, and what stays listed beyond them."""

from datetime import date, timedelta

import pytest

from fleet.assess.due.reasons import Reason
from fleet.models import Appliance, Contractor, Revisit
from fleet.services.revisits import ration_extra_visits
from tests.cast import NOON, make_appliance, make_building


def proposed(
    appliance: Appliance, drift: date, required_check: date | None, urgency: float, **changes: object
) -> Revisit:
    reasons = [Reason("drift", drift, date(2025, 3, 2), ("forecast", {"sentence": "CO2 drifts"}), is_rationed=True)]
    reasons += (
        [
            Reason(
                "required_check", required_check, date(2025, 3, 2), ("required_check", {"name": "Yearly", "steps": []})
            )
        ]
        if required_check
        else []
    )
    values = {
        "earliest": date(2025, 3, 2),
        "latest": drift,
        "date_set_by": "drift",
        "why": ["forecast", {"sentence": "CO2 drifts"}],
    }
    values |= {"reasons": [each.as_json() for each in reasons], "made_at": NOON, "otherwise_by": required_check}
    values |= {"drift_by": drift, "extra": "within", "urgency": urgency, "accepted_risk": 0.25}
    return Revisit.objects.create(appliance=appliance, **values | {"accepted_until": required_check} | changes)


@pytest.fixture
def three(boiler: Appliance) -> list[Revisit]:
    """Drift asks for each of three buildings within this week, a required check half a year later; the first is most
    urgent.
    """
    made = [boiler]
    for number in (2, 3):
        building = make_building(boiler.building.client, f"House {number}")
        made.append(make_appliance(building, boiler.sheet, f"Boiler {number}"))
    required_check = date(2026, 9, 1)
    return [proposed(each, date(2026, 3, 5), required_check, 1.9 - 0.1 * n) for n, each in enumerate(made)]


def test_within_is_pulled_forward_and_beyond_falls_back_to_its_required_check(three: list[Revisit]) -> None:
    Contractor.objects.update(extra_visits_a_week=1)
    assert ration_extra_visits(now=NOON) == 3
    first, second, third = (Revisit.objects.get(id=each.id) for each in three)
    assert (first.extra, first.latest, first.date_set_by, first.extra_week) == (
        "within", date(2026, 3, 5), "drift", date(2026, 3, 2),
    )  # fmt: skip
    for each in (second, third):
        assert (each.extra, each.latest, each.date_set_by, each.extra_week) == (
            "beyond", date(2026, 9, 1), "required_check", None,
        )  # fmt: skip
        assert each.reasons[0]["kind"] == "drift"


def test_rationing_again_changes_nothing(three: list[Revisit]) -> None:
    ration_extra_visits(now=NOON)
    before = list(Revisit.objects.order_by("id").values())
    assert ration_extra_visits(now=NOON + timedelta(hours=1)) == 0
    assert list(Revisit.objects.order_by("id").values()) == before


def test_room_that_comes_back_pulls_forward_again(three: list[Revisit]) -> None:
    Contractor.objects.update(extra_visits_a_week=0)
    ration_extra_visits(now=NOON)
    assert set(Revisit.objects.values_list("date_set_by", flat=True)) == {"required_check"}
    Contractor.objects.update(extra_visits_a_week=6)
    ration_extra_visits(now=NOON)
    assert set(Revisit.objects.values_list("date_set_by", "latest")) == {("drift", date(2026, 3, 5))}


def test_where_nothing_else_brings_anybody_the_day_stands_though_it_is_beyond(boiler: Appliance) -> None:
    Contractor.objects.update(extra_visits_a_week=0)
    revisit = proposed(boiler, date(2026, 3, 5), None, 1.5, accepted_until=date(2027, 3, 2))
    ration_extra_visits(now=NOON)
    revisit.refresh_from_db()
    assert (revisit.extra, revisit.latest) == ("beyond", date(2026, 3, 5))


def test_what_is_set_for_a_day_brings_somebody_for_the_others_of_the_building(three: list[Revisit]) -> None:
    Contractor.objects.update(extra_visits_a_week=0)
    Appliance.objects.filter(revisit=three[1].id).update(building=three[0].appliance.building)
    Revisit.objects.filter(id=three[1].id).update(state="confirmed", day=date(2026, 3, 4))
    ration_extra_visits(now=NOON)
    assert Revisit.objects.get(id=three[0].id).extra == "within"
    assert Revisit.objects.get(id=three[2].id).extra == "beyond"


def test_rationing_reads_in_few_statements_however_many(
    three: list[Revisit], django_assert_max_num_queries: object
) -> None:
    with django_assert_max_num_queries(9):  # type: ignore[operator]  # pytest-django's fixture
        ration_extra_visits(now=NOON)
