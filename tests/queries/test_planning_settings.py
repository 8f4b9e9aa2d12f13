"""Other choices of the contractor: what they would change is what they change; nothing unseen is recorded."""

from datetime import date, timedelta
from typing import Any

import pytest

from fleet.assess.foresight.forecasts import horizon_by
from fleet.assess.planning_settings import digest_of
from fleet.errors import Conflict
from fleet.models import Appliance, Contractor, Flag, Forecast, Job, Revisit, User
from fleet.presentation.follow_ups import closed_words
from fleet.presentation.revisits import urgency_words
from fleet.queries.planning_settings import preview_planning_settings
from fleet.services.contractor import change_contractor
from fleet.services.forecasts import refresh_forecasts
from fleet.services.revisits import propose_revisits, ration_extra_visits
from tests.cast import NOON, make_appliance, make_building, store, visit_body
from tests.services.test_revisits import under

CROSSING = [{"years": 0.0, "chance": 0.0}, {"years": 0.25, "chance": 0.06}, {"years": 1.0, "chance": 0.66}]


@pytest.fixture
def drifting(boiler: Appliance, person: Any, analyser: Any, technician: User, manager: User) -> list[Appliance]:
    """Three in three buildings, visited on 2 March and due in a year; by then two in three are outside."""
    made = [boiler]
    for number in (2, 3):
        building = make_building(boiler.building.client, f"House {number}")
        made.append(make_appliance(building, boiler.sheet, f"Boiler {number}"))
    for each in made:
        store(visit_body(each, person, analyser), technician)
        under(each, manager, "Yearly", {"type": "max_months", "months": 12}, date(2026, 1, 1))
    refresh_forecasts(appliances=made, now=NOON)
    Forecast.objects.exclude(quantity="co2", rate="low").delete()
    for forecast in Forecast.objects.all():
        forecast.crossing, forecast.basis, forecast.accepted_risk = CROSSING, "its own record", 0.08
        forecast.horizon_on = horizon_by(forecast, 0.08)
        forecast.save()
    resolve(made)
    return made


def resolve(appliances: list[Appliance]) -> None:
    propose_revisits(appliances=appliances, now=NOON)
    ration_extra_visits(now=NOON)
    Job.objects.all().delete()


def record(changes: dict[str, Any], viewer: User) -> Contractor:
    seen = preview_planning_settings(changes=changes, viewer=viewer, now=NOON)
    return change_contractor(version=seen.version, changes=changes, shown=seen.shown, now=NOON)


def standing() -> dict[Any, Any]:
    return dict(Revisit.objects.values_list("appliance", "latest"))


def open_flags() -> set[Any]:
    return set(Flag.objects.filter(kind="may_be_outside", closed_at__isnull=True).values_list("appliance"))


def test_the_accepted_risk_is_reached_by_straight_lines_on_the_stored_grid(drifting: list[Appliance]) -> None:
    forecast = Forecast.objects.earliest("id")
    # 0.08 lies 2/60 of three quarters of a year after a quarter: 0.275 years, 100 whole days.
    assert horizon_by(forecast, 0.08) == date(2026, 3, 2) + timedelta(days=100)
    assert horizon_by(forecast, 0.9) is None
    # Sooner than the first point of the grid it never is, unless it is reached already.
    assert horizon_by(forecast, 0.01) == date(2026, 3, 2) + timedelta(days=91)
    forecast.crossing = [{"years": 0.0, "chance": 0.1}, *CROSSING[1:]]
    assert horizon_by(forecast, 0.08) == date(2026, 3, 2)


def test_every_forecast_s_own_horizon_is_found_again(
    boiler: Appliance, person: Any, analyser: Any, technician: User
) -> None:
    for day in ("2024-03-01", "2025-03-01", "2026-03-01"):
        store(visit_body(boiler, person, analyser, day=day, found=("9.00", "8.95")), technician)
    refresh_forecasts(appliances=[boiler], now=NOON)
    told = list(Forecast.objects.all())
    assert len(told) >= 4
    for each in told:
        again = horizon_by(each, each.accepted_risk)
        assert (again is None) == (each.horizon_on is None)
        # The stored chances are rounded to six places.
        assert again is None or abs((again - each.horizon_on).days) <= 1


def test_a_higher_accepted_risk_moves_revisits_by_so_many_days_and_does_what_was_shown(
    drifting: list[Appliance], manager: User
) -> None:
    before = standing()
    seen = preview_planning_settings(changes={"accepted_risk": 0.36}, viewer=manager, now=NOON)
    # 0.36 is half way up: 0.625 years are 228 days, 128 later.
    assert [(each.days, each.words) for each in seen.moves] == [
        (128, "16 October 2026 instead of 10 June 2026, 128 days later")
    ] * 3
    assert standing() == before
    for each in seen.moves:
        assert "a chance of 36 % of reaching" in each.sentence
        assert each.sentence.endswith("by 16 October 2026.")
    record({"accepted_risk": 0.36}, manager)
    Forecast.objects.update(horizon_on=date(2026, 10, 16), accepted_risk=0.36)
    resolve(drifting)
    assert set(standing().values()) == {date(2026, 10, 16)}


def test_a_lower_accepted_risk_that_is_used_up_says_already(drifting: list[Appliance], manager: User) -> None:
    Forecast.objects.update(crossing=[{"years": 0.0, "chance": 0.05}, *CROSSING[1:]])
    seen = preview_planning_settings(changes={"accepted_risk": 0.04}, viewer=manager, now=NOON)
    assert seen.moves
    for each in seen.moves:
        assert each.sentence.startswith("CO₂ at low fire ")
        assert "a chance of 4 % of being beyond " in each.sentence
        assert each.sentence.endswith(" already.")


def test_flag_at_says_which_flags_open_and_close(drifting: list[Appliance], manager: User) -> None:
    assert len(open_flags()) == 3
    closing = preview_planning_settings(changes={"flag_at": 0.7}, viewer=manager, now=NOON)
    assert [each.opens for each in closing.flags] == [False] * 3
    assert closing.moves == ()
    assert "0 drift flags open, 3 close, 0 planned visits move" in closing.summary
    record({"flag_at": 0.7}, manager)
    resolve(drifting)
    assert open_flags() == set()
    closed = Flag.objects.earliest("id")
    assert closed_words(closed) == "The chance before the next planned visit is now 66 %."
    assert (closed.closed_figures["chance"], closed.closed_figures["flag_at"]) == (0.6595, 0.7)
    assert closed.closed_figures["snapshot"]
    opening = preview_planning_settings(changes={"flag_at": 0.3}, viewer=manager, now=NOON)
    assert [each.opens for each in opening.flags] == [True] * 3


def test_fewer_extra_visits_leave_cases_beyond_with_their_risk_stated(drifting: list[Appliance], manager: User) -> None:
    Forecast.objects.update(horizon_on=NOON.date())
    resolve(drifting)
    seen = preview_planning_settings(changes={"extra_visits_a_week": 1}, viewer=manager, now=NOON)
    assert (seen.budget_before, seen.budget_after, seen.beyond_before, seen.beyond_after) == (6, 1, 0, 2)
    assert (seen.weeks[0].begins, seen.weeks[0].before, seen.weeks[0].after) == (date(2026, 3, 2), 3, 1)
    assert len(seen.weeks) == 12
    words = "Beyond the 1 extra visits a week; accepted risk: 66 % before 2 March 2027."
    assert [each.words for each in seen.beyond] == [words] * 2
    assert len(seen.moves) == 2
    assert {each.after for each in seen.moves} == {date(2027, 3, 2)}
    record({"extra_visits_a_week": 1}, manager)
    resolve(drifting)
    assert sorted(standing().values()) == [date(2026, 3, 2), date(2027, 3, 2), date(2027, 3, 2)]


def test_co_is_apart_from_tuning(drifting: list[Appliance], manager: User) -> None:
    """A CO case is never rationed, and no choice of the contractor keeps its flag from opening at 30 chances in 100."""
    Contractor.objects.update(extra_visits_a_week=0, flag_at=0.9, accepted_risk=0.9)
    one = Forecast.objects.get(appliance=drifting[0])
    Forecast.objects.all().delete()
    common = {name: getattr(one, name) for name in ("appliance", "rate", "snapshot", "sheet_version", "last_visit_on",
              "visits_used", "basis", "crossing", "outlook", "made_at")}  # fmt: skip
    Forecast.objects.create(
        **common, quantity="co", unit="ppm", level=40, pace_per_year=10, pace_sd_per_year=1, upper=250, limit=None,
        accepted_risk=0.02, horizon_on=date(2026, 4, 1),
    )  # fmt: skip
    resolve(drifting)
    revisit = Revisit.objects.get(appliance=drifting[0])
    assert (revisit.date_set_by, revisit.latest, revisit.extra) == ("drift", date(2026, 4, 1), "")
    assert open_flags() == {(drifting[0].id,)}
    assert urgency_words(revisit.urgency_of).startswith("CO on its way to a limit; ")


def test_days_for_outside_and_for_defects_move_their_revisits(
    boiler: Appliance, body: dict[str, Any], technician: User, manager: User
) -> None:
    store(body | {"defects": [{"what": "seal worn", "severity": "repair"}]}, technician)
    propose_revisits(appliances=[boiler], now=NOON)
    seen = preview_planning_settings(changes={"repair_within_days": {"repair": 7}}, viewer=manager, now=NOON)
    assert [each.days for each in seen.moves] == [-21]
    gone = preview_planning_settings(changes={"repair_within_days": {}}, viewer=manager, now=NOON)
    assert [each.words for each in gone.moves] == ["no date any more"]


def test_what_stands_already_changes_nothing(drifting: list[Appliance], manager: User) -> None:
    seen = preview_planning_settings(changes={"flag_at": 0.3}, viewer=manager, now=NOON)
    assert (seen.settings, seen.moves, seen.flags) == ((), (), ())
    assert seen.summary == "Nothing would change: these are the settings that stand."


def test_nothing_is_written_by_a_preview(drifting: list[Appliance], manager: User) -> None:
    def everything() -> list[Any]:
        return [list(each.objects.order_by("pk").values()) for each in (Contractor, Flag, Revisit, Forecast, Job)]

    before = everything()
    preview_planning_settings(changes={"accepted_risk": 0.4, "extra_visits_a_week": 0}, viewer=manager, now=NOON)
    assert everything() == before


def test_what_belongs_to_others_is_counted_and_not_named(drifting: list[Appliance], outsider: User) -> None:
    seen = preview_planning_settings(changes={"accepted_risk": 0.36}, viewer=outsider, now=NOON)
    assert (seen.moves, seen.unseen) == ((), 3)


# ---- recorded only as shown ----


def test_a_choice_with_consequences_is_recorded_only_as_it_was_shown(manager: User) -> None:
    changes = {"flag_at": 0.4, "extra_visits_a_week": 3}
    seen = preview_planning_settings(changes=changes, viewer=manager, now=NOON)
    for given, shown in ((changes, ""), (changes | {"flag_at": 0.5}, seen.shown), ({"flag_at": 0.4}, seen.shown)):
        with pytest.raises(Conflict) as refused:
            change_contractor(version=1, changes=given, shown=shown, now=NOON)
        assert refused.value.code == "not_shown"
    assert change_contractor(version=1, changes=changes, shown=seen.shown, now=NOON).flag_at == 0.4
    assert Job.objects.filter(kind="refresh_everybody", key="planning settings 2").exists()


def test_a_preview_of_an_older_version_is_stale(manager: User) -> None:
    seen = preview_planning_settings(changes={"flag_at": 0.4}, viewer=manager, now=NOON)
    record({"extra_visits_a_week": 3}, manager)
    with pytest.raises(Conflict) as refused:
        change_contractor(version=1, changes={"flag_at": 0.4}, shown=seen.shown, now=NOON)
    assert refused.value.code == "changed_meanwhile"
    with pytest.raises(Conflict) as unseen:
        change_contractor(version=2, changes={"flag_at": 0.4}, shown=seen.shown, now=NOON)
    assert unseen.value.code == "not_shown"


def test_a_name_needs_no_preview(installation: User) -> None:
    changed = change_contractor(version=1, changes={"name": "Other Heating", "flag_at": 0.3}, shown="", now=NOON)
    assert changed.name == "Other Heating"
    assert not Job.objects.exists()


def test_the_digest_tells_choices_and_versions_apart() -> None:
    one = digest_of(1, {"flag_at": 0.4})
    assert one == digest_of(1, {"flag_at": 0.40, "name": "any"})
    assert len({one, digest_of(2, {"flag_at": 0.4}), digest_of(1, {"flag_at": 0.5}), digest_of(1, {})}) == 4
