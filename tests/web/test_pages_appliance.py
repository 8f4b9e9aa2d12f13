"""The appliance's page, its visits' pages and the building's: the answer first, then what it rests on."""

import copy
import re
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from pytest_django.fixtures import Settings

from fleet.intake.visits import read_visit
from fleet.models import Analyser, Appliance, FlueGroup, Forecast, Person, Revisit, Snapshot, User
from fleet.models.register import new_id
from fleet.services.files import store_file
from fleet.services.no_access import record_no_access
from fleet.services.out_of_use import begin_out_of_use
from fleet.services.revisits import refresh_appliance
from fleet.services.visits import amend_visit
from fleet.web.appliances import reasons_shown
from tests import pictures
from tests.cast import NOON, make_appliance, measured, store, visit_body
from tests.web.markup import main_of, words_of
from tests.web.opened import browser_of, opened
from tests.web.world import (
    add_undecided_required_check,
    add_yearly_required_check,
    called_unsafe,
    may_be_outside,
    visited,
)


@pytest.fixture(autouse=True)
def at_noon(settings: Settings) -> None:
    settings.CLOCK_OFFSET = NOON - timezone.now()


@pytest.fixture
def boiler_page(boiler: Appliance) -> str:
    return f"/appliances/{boiler.id}/"


def test_an_appliance_never_visited_says_what_will_appear(
    boiler: Appliance, dispatcher: User, boiler_page: str
) -> None:
    page = words_of(opened(dispatcher, boiler_page))
    assert "Nothing asks for a visit by a date" in page
    assert "No visit has read anything here yet." in page
    assert "None: no rule is assigned. Somebody must decide which applies." in page


def test_attempts_without_access_are_told_with_their_letters_to_everybody_who_sees_it(
    boiler: Appliance, technician: User, dispatcher: User, auditor: User, boiler_page: str, settings: Settings,
    tmp_path: Path,
) -> None:  # fmt: skip
    settings.MEDIA_ROOT = tmp_path
    assert "Without access" not in words_of(opened(dispatcher, boiler_page))
    said = {"kind": "nobody_in", "note": "", "letter": "card in the box"}
    (made,) = record_no_access(appliances=[boiler], at=NOON, actor=technician, now=NOON, **said)
    photo = {"name": "door", "media_type": "image/png", "data": pictures.png(), "what": "letter"}
    store_file(no_access=made, actor=technician, now=NOON, **photo)
    for viewer in (dispatcher, technician, auditor):
        shown = words_of(opened(viewer, boiler_page))
        told = "No access on 2 March 2026: nobody in; letter: card in the box; 1 file beside it, says technician."
        assert f"Without access {told} door.png" in shown


def test_it_opens_with_the_day_and_the_reason_that_binds(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User, boiler_page: str
) -> None:
    add_yearly_required_check(boiler, dispatcher)
    visited(boiler, person, analyser, dispatcher)
    page = words_of(opened(dispatcher, boiler_page))
    assert "See it by Tuesday 2 March 2027 . Yearly check: 2 March 2026 plus 12 months is 2 March 2027." in page
    assert "By the visit due on Tuesday 2 March 2027 the chance that" in page
    assert "This one sets the date." in page


def test_a_last_day_that_has_passed_is_late_in_words(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User, boiler_page: str
) -> None:
    add_yearly_required_check(boiler, dispatcher)
    visited(boiler, person, analyser, dispatcher, day="2025-02-20")
    page = words_of(opened(dispatcher, boiler_page))
    assert "It should have been seen by Friday 20 February 2026 : 10 days late ." in page


def test_a_forecast_from_assumptions_is_called_that(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User, boiler_page: str
) -> None:
    visited(boiler, person, analyser, dispatcher, left=("10.30", "9.10"))
    page = words_of(opened(dispatcher, boiler_page))
    assert "The forecast is from assumptions: the records hold 0 series of this quantity, and a fit needs 30." in page


def test_a_forecast_with_few_visits_says_that_it_rests_on_the_fleet(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User, boiler_page: str
) -> None:
    visited(boiler, person, analyser, dispatcher, left=("10.30", "9.10"))
    Snapshot.objects.update(from_assumptions=False)
    Forecast.objects.filter(lower__isnull=False).update(basis="the fleet")
    assert "With 1 visit of its own, the forecast rests on the fleet." in words_of(opened(dispatcher, boiler_page))


def test_beside_unsafe_no_chance_is_shown_as_comfort(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User, boiler_page: str
) -> None:
    add_yearly_required_check(boiler, dispatcher)
    called_unsafe(boiler, person, analyser, dispatcher)
    refresh_appliance(appliance=boiler, now=NOON)
    page = words_of(opened(dispatcher, boiler_page))
    assert "It was declared unsafe on Monday 2 March 2026, and nobody has closed that yet. No day is booked for" in page
    assert "See it by" not in page
    assert "It should have been seen" not in page
    assert "the chance that" not in page
    assert "Declared unsafe, nobody has answered for it yet" in page
    assert page.index("Declared unsafe,") < page.index("As it stands")


def test_nothing_is_expected_of_what_was_declared_unsafe(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User, boiler_page: str
) -> None:
    visited(boiler, person, analyser, dispatcher, left=("10.30", "9.10"), day="2026-02-02")
    Snapshot.objects.update(from_assumptions=False)
    Forecast.objects.update(basis="its own record", horizon_on=date(2026, 2, 20))
    refresh_appliance(appliance=boiler, now=NOON)
    assert {each["kind"] for each in Revisit.objects.get().reasons} > {"drift"}
    assert "Outcomes expected" in opened(dispatcher, boiler_page)
    called_unsafe(boiler, person, analyser, dispatcher)
    refresh_appliance(appliance=boiler, now=NOON)
    assert "drift" not in {each["kind"] for each in Revisit.objects.get().reasons}
    page = opened(dispatcher, boiler_page)
    assert "Outcomes expected" not in page
    assert "The figures as a table" in page


def test_an_appliance_out_of_use_says_so_first_and_nothing_is_expected_of_it(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User, manager: User, boiler_page: str
) -> None:
    visited(boiler, person, analyser, dispatcher, left=("10.30", "9.10"), day="2026-02-02")
    Snapshot.objects.update(from_assumptions=False)
    Forecast.objects.update(basis="its own record", horizon_on=date(2026, 2, 20))
    content = {"begins": "2026-02-20", "why": "closed", "said_by": "the caretaker"}
    begin_out_of_use(appliance=boiler, content=content, actor=manager, now=NOON, id=new_id())
    refresh_appliance(appliance=boiler, now=NOON)
    assert "drift" not in {each["kind"] for each in Revisit.objects.get().reasons}
    page = opened(dispatcher, boiler_page)
    assert "It is out of use since 20 February 2026; its required checks are suspended." in words_of(page)
    assert "See it by" not in words_of(page)
    assert "Outcomes expected" not in page


def test_what_the_lead_says_of_a_forecast_is_not_said_again(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User, boiler_page: str
) -> None:
    visited(boiler, person, analyser, dispatcher, day="2026-02-02")
    Snapshot.objects.update(from_assumptions=False)
    Forecast.objects.filter(quantity="co2", rate="high").update(basis="its own record", horizon_on=date(2026, 4, 20))
    refresh_appliance(appliance=boiler, now=NOON)
    assert Revisit.objects.get().why[0] == "forecast"
    assert "sets the date: its accepted risk" not in words_of(opened(dispatcher, boiler_page))


def test_as_it_stands_holds_found_left_band_and_sets_in_words(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User, boiler_page: str
) -> None:
    visited(boiler, person, analyser, dispatcher)
    page = main_of(opened(dispatcher, boiler_page))
    assert "CO₂ at high fire, %: found 8.90; left 9.40; should be 9.10 to 9.70; target 9.40." in page
    assert "CO air-free at low fire, ppm: found" in page
    assert "limit: not over 250" in page
    words = words_of(opened(dispatcher, boiler_page))
    assert "As left, what could be judged was within its limits as recorded." in words
    assert "Held against Test sheet v1 and the contractor" in words


def test_a_set_that_nobody_has_reviewed_says_so_beside_its_verdict(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User, boiler_page: str
) -> None:
    from tests.reports.cases import attach

    attach(("demo-neutral",), boiler, dispatcher)
    visited(boiler, person, analyser, dispatcher)
    page = words_of(opened(dispatcher, boiler_page))
    assert "v1 (not reviewed)" in page
    assert "NOT REVIEWED" in page


def test_each_series_is_drawn_twice_and_its_table_holds_raw_and_corrected(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User, boiler_page: str
) -> None:
    visited(boiler, person, analyser, dispatcher, day="2025-03-02")
    visited(boiler, person, analyser, dispatcher)
    page = main_of(opened(dispatcher, boiler_page))
    assert page.count('class="chart wide"') == page.count('class="chart narrow"') == 4
    assert page.count("Found, as read") == 4
    assert "Values corrected to 20 °C intake air" in page
    assert '<td class="n">8.90</td>' in page


def test_co_is_drawn_towards_the_limit_that_applies_and_the_binding_quantity_is_named(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User, boiler_page: str
) -> None:
    visited(boiler, person, analyser, dispatcher, left=("10.30", "9.10"))
    Forecast.objects.filter(lower__isnull=False).update(basis="the fleet", horizon_on="2027-03-01")
    Forecast.objects.filter(quantity="co", rate="low").update(basis="its own record", horizon_on="2026-11-05")
    page = opened(dispatcher, boiler_page)
    words = words_of(page)
    sets_the_date = "Of what drifts CO air-free at low fire sets the date: its accepted risk, 2 %, is used up on "
    assert f"{sets_the_date}5 November 2026." in words
    (drawn,) = re.findall(r'<section class="block">\s*<h2>CO air-free at high fire</h2>.*?</section>', page, re.DOTALL)
    assert "250 limit" in drawn
    assert "CO air-free at high fire, ppm" in drawn
    assert "Outcomes expected" in drawn


def test_adjusters_say_which_way_raises_co2_beside_the_caution(
    boiler: Appliance, dispatcher: User, boiler_page: str
) -> None:
    page = words_of(opened(dispatcher, boiler_page))
    assert "ratio screw: anticlockwise raises CO₂" in page
    assert "offset screw: clockwise raises CO₂" in page
    assert "Hot probe and flue, live parts, gas" in page


def test_visits_are_rows_with_small_rules_and_words(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User, boiler_page: str
) -> None:
    visited(boiler, person, analyser, dispatcher, day="2025-03-02")
    visited(boiler, person, analyser, dispatcher)
    page = main_of(opened(dispatcher, boiler_page))
    assert page.count("found outside, left within") == 2
    assert page.count('<td class="figure" data-rate="High fire">8.90 to 9.40</td>') == 2
    assert page.index("2 Mar 2026</a></th>") < page.index("2 Mar 2025</a></th>")


def test_an_appliance_without_a_sheet_has_no_band_and_says_so(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User, boiler_page: str
) -> None:
    Appliance.objects.filter(id=boiler.id).update(sheet=None)
    visited(Appliance.objects.get(id=boiler.id), person, analyser, dispatcher)
    page = words_of(opened(dispatcher, boiler_page))
    assert "none: readings have no target" in page
    assert "there is no settings sheet, so there is no band to leave" in page


def test_an_analyser_without_co_leaves_no_air_free_rule(
    body: dict[str, Any], dispatcher: User, boiler_page: str
) -> None:
    for each in body["readings"]:
        each["values"] = {"o2": measured("4.4", "%"), "co": {"qualifier": "not_measured"}}
    store(body, dispatcher)
    page = main_of(opened(dispatcher, boiler_page))
    assert "CO₂ at high fire" in page
    assert "CO air-free at high fire" not in page


def test_a_common_flue_is_named_and_its_readings_are_no_drift(
    boiler: Appliance, body: dict[str, Any], dispatcher: User, boiler_page: str
) -> None:
    group = FlueGroup.objects.create(building=boiler.building, name="east flue")
    Appliance.objects.filter(id=boiler.id).update(flue_group=group)
    for each in body["readings"]:
        each["sampling_point"] = "common_flue"
        each["values"]["co2"]["value"] = "6.66"
    store(body, dispatcher)
    refresh_appliance(appliance=boiler, now=NOON)
    page = words_of(opened(dispatcher, boiler_page))
    assert "Read in the common flue only: that is no reading of this appliance's own." in page
    assert "6.66" not in page and "CO₂ at high fire" not in page
    assert "east flue, shared" in page
    assert "A common-flue reading never counts." in page
    assert "east flue Boiler 1" in words_of(opened(dispatcher, f"/buildings/{boiler.building_id}/"))


def test_what_was_read_in_the_common_flue_as_well_stands_in_no_place_of_its_own(
    boiler: Appliance, body: dict[str, Any], dispatcher: User, boiler_page: str
) -> None:
    """The newest at that rate, and yet the appliance's own reading is drawn; the table says where each was taken."""
    shared = copy.deepcopy(body["readings"][0]) | {"sampling_point": "common_flue", "rate_proven_by": "not_proven"}
    shared["values"]["co2"]["value"] = "6.66"
    body["readings"].insert(1, shared)
    for work in body["work"]:
        work["after_reading"] += 1
    visit = store(body, dispatcher)
    page = words_of(opened(dispatcher, f"/visits/{visit.id}/"))
    assert page.count("6.66") == 1
    assert "2. high fire, found, common flue" in page.lower()
    assert "6.66" not in words_of(opened(dispatcher, boiler_page))


def test_a_correction_is_an_open_square_with_its_reason(
    body: dict[str, Any], dispatcher: User, boiler_page: str
) -> None:
    visit = store(body, dispatcher)
    body["note"] = "corrected"
    amend_visit(draft=read_visit(body), reason="wrong <analyser>", version=1, actor=dispatcher, now=NOON)
    for path in (boiler_page, f"/visits/{visit.id}/"):
        page = main_of(opened(dispatcher, path))
        assert page.count('<li class="corrected">') == 1
        assert "Correction: wrong &lt;analyser&gt;" in page
    digest = visit.record.sha256
    assert f"{digest[:4]} {digest[4:8]} {digest[8:12]}" in opened(dispatcher, boiler_page)


def test_out_of_service_asks_for_nothing(boiler: Appliance, dispatcher: User, boiler_page: str) -> None:
    Appliance.objects.filter(id=boiler.id).update(in_service_to="2026-01-31")
    assert "It is out of service, so nothing asks for a visit." in words_of(opened(dispatcher, boiler_page))


def test_a_removal_planned_ahead_changes_nothing_yet(boiler: Appliance, dispatcher: User, boiler_page: str) -> None:
    Appliance.objects.filter(id=boiler.id).update(in_service_to="2027-05-01")
    assert "It is out of service" not in words_of(opened(dispatcher, boiler_page))
    page = words_of(opened(dispatcher, f"/buildings/{boiler.building_id}/"))
    assert "One appliance stands here." in page
    assert "out of service" not in page
    assert "Weir House 1 Test Lane Weir Trust 1 none no date" in words_of(opened(dispatcher, "/buildings/"))
    Appliance.objects.filter(id=boiler.id).update(in_service_to="2026-03-01")
    assert "out of service" in words_of(opened(dispatcher, f"/buildings/{boiler.building_id}/"))
    assert "Weir House 1 Test Lane Weir Trust 0 none no date" in words_of(opened(dispatcher, "/buildings/"))


def test_a_required_check_that_cannot_be_told_is_said_and_never_late(
    boiler: Appliance, dispatcher: User, boiler_page: str
) -> None:
    add_undecided_required_check(boiler, dispatcher, date(2025, 6, 1))
    page = words_of(opened(dispatcher, boiler_page))
    assert "Nothing asks for a visit by a date that is certain." in page
    assert "One required check can't be told: By flue: as early as 1 June 2026; age of flue not recorded" in page
    assert "By flue : as early as 1 Jun 2026." in page
    assert "late" not in page.split("Required checks")[-1].split("Proof")[0]


def test_flags_and_defects_stand_open_with_who_was_told(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User, boiler_page: str
) -> None:
    body = visit_body(boiler, person, analyser)
    body["defects"] = [
        {"what": "gasket worn", "severity": "repair", "repair_by": "2026-04-01", "told": "the caretaker"}
    ]
    store(body, dispatcher)
    refresh_appliance(appliance=boiler, now=NOON)
    may_be_outside(boiler, boiler.forecasts.get(quantity="co2", rate="low"))
    page = words_of(opened(dispatcher, boiler_page))
    assert "Defect: gasket worn. To be repaired by 1 Apr 2026. Told: the caretaker." in page
    assert "May be outside before the next planned visit: CO₂ at low fire" in page
    assert Revisit.objects.get().date_set_by == "defect"


# ---- a visit ----


def test_a_visit_s_page_says_what_its_paper_says(body: dict[str, Any], dispatcher: User) -> None:
    body["conditions"]["outdoor_temp"] = measured("7", "degC")
    visit = store(body, dispatcher)
    page = words_of(opened(dispatcher, f"/visits/{visit.id}/"))
    for said in (
        "As found, outside as recorded: CO₂ at high fire 8.90 % (limit 9.1 to 9.7 %).",
        "Adjustment: ratio screw, at high fire, anticlockwise, 1/8 turn, after reading 2.",
        "Done: test port refitted.",
        "Ada Test, 2 March 2026, 10:58",
        "Ada Test, qualified for gas by trade register Q-1 to 31 December 2030",
        "Analyser 1 (A-1), certificate C-1",
        "No defect is recorded.",
        "outside: 8.90 %",
        "1. high fire, found",
        "No correction to this record.",
    ):
        assert said in page, said
    assert visit.record.sha256 in page


def test_a_visit_s_paper_is_a_pdf(body: dict[str, Any], auditor: User) -> None:
    visit = store(body, auditor)
    answer = browser_of(auditor).get(f"/visits/{visit.id}/paper.pdf")
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    assert answer.content.startswith(b"%PDF-")


def test_a_visit_without_readings_says_why(body: dict[str, Any], dispatcher: User) -> None:
    body |= {"readings": [], "work": [], "outcome": "not_tested", "outcome_reason": "nobody in"}
    body["attendance"]["left_at"] = "2026-03-02T10:00:00+00:00"
    visit = store(body, dispatcher)
    page = words_of(opened(dispatcher, f"/visits/{visit.id}/"))
    assert "Nothing was read. Nobody in." in page
    assert "not tested: nobody in" in words_of(opened(dispatcher, f"/appliances/{visit.appliance_id}/"))


def test_findings_stand_strictest_first(body: dict[str, Any], dispatcher: User) -> None:
    for each in body["readings"]:
        each["values"]["co"] = measured("900", "ppm")
    visit = store(body, dispatcher)
    page = words_of(opened(dispatcher, f"/visits/{visit.id}/"))
    assert "At a stop level as left" in page
    assert page.index("Outside a limit, the strictest first") < page.index("outside: 1") < page.index("outside: 8.90 %")


# ---- a building ----


def test_a_building_says_what_stands_in_it_and_how_it_stands(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User, auditor: User
) -> None:
    type(boiler.building).objects.update(access_notes="Key at the <gate>")
    make_appliance(boiler.building, boiler.sheet, "Boiler 2")
    visited(boiler, person, analyser, dispatcher, left=("10.30", "9.10"))
    page = words_of(opened(dispatcher, f"/buildings/{boiler.building_id}/"))
    assert "Two appliances stand here and one outside a limit." in page
    assert "outside, found and left; left in use" in page
    assert "never visited" in page
    assert "Key at the <gate>" in page
    for path in ("", "revisits/"):
        assert "Getting in" not in words_of(opened(auditor, f"/buildings/{boiler.building_id}/{path}"))


def test_a_building_counts_each_appliance_by_its_gravest_flag_alone(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User
) -> None:
    visited(boiler, person, analyser, dispatcher, left=("10.30", "10.30"), day="2026-02-02")
    called_unsafe(boiler, person, analyser, dispatcher)
    page = words_of(opened(dispatcher, f"/buildings/{boiler.building_id}/"))
    assert "One appliance stands here and one unsafe or at stop level." in page


def test_the_list_of_buildings_counts_appliances_and_flags(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User
) -> None:
    make_appliance(boiler.building, boiler.sheet, "Boiler 2")
    visited(boiler, person, analyser, dispatcher, left=("10.30", "10.30"))
    page = words_of(opened(dispatcher, "/buildings/"))
    assert "1 building" in page
    assert "Weir House 1 Test Lane Weir Trust 2 2 16 Mar 2026" in page
    assert "No building fits." in opened(dispatcher, "/buildings/?name=nowhere")


def test_one_finding_is_one_reason_by_its_gravest_limit():
    def reason(what: str, rank: int) -> dict[str, Any]:
        return {"why": ["flag", {"figures": {"verdict": {"label": [what, {}], "rank": rank}}}]}

    check = {"why": ["required_check", {"name": "Yearly"}]}
    said = reasons_shown([reason("co", 1), check, reason("co2", 2), reason("co", 3), check])
    assert said == [reason("co", 3), check, reason("co2", 2), check]
