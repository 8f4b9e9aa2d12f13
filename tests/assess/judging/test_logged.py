"""CO in the logged series condemns what the reading beside it doesn't show, and clears nothing."""

from typing import Any

import pytest

from fleet.assess.judging.cases import number_of
from fleet.models import Flag, User
from fleet.presentation.verdicts import finding_rows, verdicts_of
from fleet.queries.visits import visit_for
from tests.cast import measured, store

pytestmark = pytest.mark.django_db

TIMES = [str(second) for second in range(0, 181, 10)]


def logged(body: dict[str, Any], co: list[str], **more: Any) -> dict[str, Any]:
    """The body, its first reading with a series of this CO and a quiet O2."""
    body["readings"][0]["series"] = {"at_s": TIMES, "o2": ["4.3"] * len(TIMES), "co": co, **more}
    return body


def test_a_series_steady_at_a_stop_level_stops_though_the_reading_says_less(
    body: dict[str, Any], technician: User
) -> None:
    visit = store(logged(body, ["3000"] * len(TIMES)), technician)
    assert visit.judgement.verdicts["stop"]
    assert Flag.objects.filter(kind=Flag.Kind.STOP, appliance=visit.appliance).exists()
    assert visit.judgement.findings.first().reading == 1


def test_what_a_series_condemns_as_left_is_not_put_right_by_its_own_reading(
    body: dict[str, Any], technician: User
) -> None:
    last = body["readings"][-2]
    last["series"] = {"at_s": TIMES, "o2": ["4.3"] * len(TIMES), "co": ["3000"] * len(TIMES)}
    visit = store(body, technician)
    assert (visit.judgement.outcome, visit.judgement.verdicts["stop_as_left"]) == ("outside", True)


def test_co_over_range_in_the_series_stops(body: dict[str, Any], technician: User) -> None:
    visit = store(logged(body, ["300"] * len(TIMES), over_range=["co"]), technician)
    assert visit.judgement.verdicts["stop"]


def test_co_that_climbs_past_its_line_in_the_series_stops(body: dict[str, Any], technician: User) -> None:
    climbing = [f"{40 + 2 * int(each)}" for each in TIMES]
    assert store(logged(body, climbing), technician).judgement.verdicts["stop"]


def test_what_the_probe_shows_in_its_first_minute_counts_for_nothing(body: dict[str, Any], technician: User) -> None:
    starting = ["3000", "2000", "900", "400", "200", "90", *["40"] * (len(TIMES) - 6)]
    assert not store(logged(body, starting), technician).judgement.verdicts["stop"]


def test_a_quiet_series_adds_no_verdict_and_no_figure(body: dict[str, Any], technician: User) -> None:
    visit = store(logged(body, ["40"] * len(TIMES)), technician)
    keys = {each["reading_key"] for each in visit.judgement.verdicts["verdicts"]}
    assert not any("logged" in (each or "") or "began" in (each or "") for each in keys)
    assert len(visit.judgement.derived) == len(body["readings"])


def test_a_failed_co_cell_does_not_hide_what_was_logged(body: dict[str, Any], technician: User) -> None:
    body["readings"][0]["values"]["co"] = {"qualifier": "sensor_fault"}
    assert store(logged(body, ["5000"] * len(TIMES)), technician).judgement.verdicts["stop"]


def test_said_not_steady_is_not_overruled_by_a_quiet_series(body: dict[str, Any], technician: User) -> None:
    body["readings"][0]["steadiness"] = "not_steady"
    visit = store(logged(body, ["40"] * len(TIMES)), technician)
    bands = [
        each for each in visit.judgement.verdicts["verdicts"] if (each["kind"], each["reading_key"]) == ("band", "1")
    ]
    assert {each["outcome"] for each in bands} == {"not_judged"}
    assert visit.questions.filter(code="steadiness_differs").exists()


def test_a_series_that_stays_high_is_no_cold_start(body: dict[str, Any], technician: User) -> None:
    body["readings"][0]["values"]["o2"] = measured("4.3", "%")
    visit = store(logged(body, ["3000"] * len(TIMES)), technician)
    assert "DX13" not in set(visit.diagnoses.values_list("pattern", flat=True))


def test_what_is_no_co_is_not_said_twice(body: dict[str, Any], technician: User) -> None:
    body["readings"][0]["values"]["spillage"] = measured("9", "min")
    visit = store(logged(body, ["3000"] * len(TIMES)), technician)
    said = [each for each in visit.judgement.verdicts["verdicts"] if each["quantity"] == "spillage_time"]
    assert [each["outcome"] for each in said].count("outside") == 1


def test_of_a_reading_and_its_series_outside_one_limit_the_findings_hold_what_was_read(
    body: dict[str, Any], technician: User
) -> None:
    body["readings"][0]["values"]["co"] = measured("474", "ppm")
    visit = store(logged(body, ["475"] * len(TIMES)), technician)
    facts = visit_for(technician, visit.id)
    outside = [each for each in facts.judgement.said if each.outcome == "outside" and each.rate == "high"]
    assert {number_of(each.reading_key) for each in outside} == {1}
    assert any(each.reasons for each in outside)
    assert not any(each.reasons for each in verdicts_of(facts) if each.outcome == "outside")
    rows = [(each.what, each.limit, each.source) for each in finding_rows(facts)]
    assert rows and len(set(rows)) == len(rows)
