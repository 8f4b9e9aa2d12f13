"""The paper of a visit says everything that was recorded, says how far it goes, and is the same bytes each time."""

import copy
from dataclasses import replace
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.assess.judging.visit_facts import VisitFacts
from fleet.intake.visits import VisitIn, read_visit
from fleet.models import Analyser, Appliance, LimitSet, Person, User
from fleet.models.records import content_of
from fleet.presentation.corrections import changed_fields
from fleet.presentation.figures import NONE
from fleet.presentation.readings import rule_rows
from fleet.presentation.visits import opening
from fleet.queries.visits import visit_for
from fleet.services.corrections import correct_visit
from fleet.services.limit_sets import review_limit_set
from reports.proof import Code, code_text
from reports.visits import visit_pdf
from tests.cast import NOON, make_analyser, measured, store
from tests.reports.cases import KNOWN_ON, MANY_SETS, attach, corrected, full, paper_facts, unsafe, with_values
from tests.reports.reading import faces, pages, size_pt, words

NEVER_SAID = ("is safe", "compliant", "complies", "certif" + "ied")


def paper(body: dict[str, Any], actor: User) -> str:
    return words(visit_pdf(paper_facts(body, actor), known_on=KNOWN_ON))


def test_the_paper_opens_with_what_was_found_and_how_it_was_left(body: dict[str, Any], technician: User) -> None:
    said = paper(body, technician)
    assert "As found, outside as recorded: CO₂ at high fire 8.90 % (limit 9.1 to 9.7 %). As left, what could be" in said
    assert "Left in use on Monday 2 March 2026. Held against Test sheet v1 and the contractor's stop levels v1." in said
    assert said.index("As found, outside") < said.index("Technician") < said.index("Figures") < said.index("SHA-256")
    assert not any(each in said.lower() for each in NEVER_SAID)


def test_every_figure_of_the_visit_is_on_the_paper(body: dict[str, Any], technician: User) -> None:
    facts = paper_facts(body, technician)
    said = words(visit_pdf(facts, known_on=KNOWN_ON))
    for each in facts.readings:
        found = each.derived
        row = [
            f"{found.o2_pct:.1f}*",
            f"{each.reading.co2_pct:.2f}",
            f"{each.reading.co_ppm:.0f}",
            f"{found.co_ppm_air_free:.0f}",
            f"{each.reading.flue_temp_c:.1f}",
            f"{each.reading.air_temp_c:.1f}",
            f"{found.excess_air_ratio:.2f}",
            f"{found.efficiency_pct_net:.1f}",
            f"{found.efficiency_pct_gross:.1f}",
            f"{found.flue_loss_pct:.1f}",
            f"{found.co_co2_ratio:.4f}",
            f"{each.reading.taken_at:%H:%M}",
            "not shown",
        ]
        assert " ".join(row) in said


def test_who_with_what_and_when_is_on_the_paper(body: dict[str, Any], technician: User) -> None:
    said = paper(body, technician)
    for each in (
        "Ada Test, qualified for gas by trade register Q-1 to 31 December 2030",
        "Analyser 1 (A-1), certificate C-1 by a laboratory of 10 January 2015, covers to 31 December 2030",
        "CO₂ is calculated from O₂, not measured",
        "arrived 09:45, left 11:00, Europe/Lisbon",
        "20.0 °C at the intake; CO in the room before 0, after 0 ppm",
        "rated 12 to 60 kW net",
        "Adjustment: ratio screw, at high fire, anticlockwise, 1/8 turn, after reading 2",
        "ppm, 20.9 % O₂ in air",
        "the coefficients of 1. BImSchV 2010, Annex 2 no. 3.4.1 for gas of the public supply",
        "Done: test port refitted.",
        "Technician: Ada Test, 2 March 2026, 10:58",
        "it does not declare the appliance safe",
    ):
        assert each in said


def test_times_are_those_of_the_building(body: dict[str, Any], technician: User, boiler: Appliance) -> None:
    boiler.building.time_zone = "Asia/Kathmandu"
    boiler.building.save()
    assert "arrived 15:30, left 16:45, Asia/Kathmandu" in paper(body, technician)


def test_the_record_and_its_hash_are_on_the_paper_in_full_and_in_its_code(
    body: dict[str, Any], technician: User
) -> None:
    facts = paper_facts(body, technician)
    record = facts.visit.record
    said = words(visit_pdf(facts, known_on=KNOWN_ON))
    assert str(record.id) in said
    assert f"SHA-256 {record.sha256}" in said
    assert "Corrections to this record: none, as known on 5 March 2026." in said
    assert code_text(record) == f"record {record.id}\nsha256 {record.sha256}"
    rows = Code(code_text(record)).rows
    # ISO/IEC 18004: a square of 17 + 4n modules whose corner patterns begin with seven dark ones.
    assert (len(rows) - 17) % 4 == 0
    assert all(len(row) == len(rows) for row in rows)
    assert rows[0][:8] == b"\1\1\1\1\1\1\1\0"


def test_the_same_visit_gives_the_same_bytes(body: dict[str, Any], technician: User, boiler: Appliance) -> None:
    attach(MANY_SETS[:3], boiler, technician)
    facts = paper_facts(full(body), technician)
    first = visit_pdf(facts, known_on=KNOWN_ON)
    assert visit_pdf(facts, known_on=KNOWN_ON) == first
    assert visit_pdf(facts, known_on=KNOWN_ON, paper="Letter") != first


def test_every_face_is_carried_by_the_file(body: dict[str, Any], technician: User, manager: User) -> None:
    found = faces(visit_pdf(corrected(body, technician, manager), known_on=KNOWN_ON))
    assert any("DejaVu" in name for name in found)
    assert all(found.values())


@pytest.mark.parametrize(("paper_name", "expected"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_it_goes_on_either_paper(
    body: dict[str, Any], technician: User, paper_name: Any, expected: tuple[int, int]
) -> None:
    pdf = visit_pdf(paper_facts(body, technician), known_on=KNOWN_ON, paper=paper_name)
    assert tuple(round(each) for each in size_pt(pdf)) == expected
    for number, text in enumerate(pages(pdf), 1):
        assert f"Page {number} of {len(pages(pdf))}" in text


def test_an_ordinary_visit_fits_on_one_sheet_with_readings_and_verdicts_in_front(
    body: dict[str, Any], technician: User
) -> None:
    front, *back = pages(visit_pdf(paper_facts(body, technician), known_on=KNOWN_ON))
    assert len(back) <= 1
    assert "By which limits" in front
    assert "Work done" in front


def test_other_paper_is_refused(body: dict[str, Any], technician: User) -> None:
    with pytest.raises(ValueError, match="A4, Letter"):
        visit_pdf(paper_facts(body, technician), known_on=KNOWN_ON, paper="A5")  # type: ignore[arg-type]  # the point


def test_an_unsafe_visit_opens_with_what_was_done_about_it(body: dict[str, Any], technician: User) -> None:
    said = paper(unsafe(body), technician)
    assert said.index("Declared unsafe") < said.index("Partly tested")
    assert "Isolated. Labelled. Told: P. Example, caretaker." in said
    assert "Reason: CO over range at high fire, sooted flue" in said
    assert "NOT done: one normal start and stop watched. Why: isolated" in said
    assert "NOT read: low fire, as found. Why: stopped for safety" in said
    assert "Does not apply: condensate trap filled." in said
    assert "Flue joint open behind the case (first elbow): unsafe." in said
    assert "Open, to be repaired by 9 March 2026. Told: P. Example, caretaker." in said
    assert "It was left as found. Isolated and labelled on Monday 2 March 2026." in said


def test_what_an_unsafe_visit_lacks_is_said(body: dict[str, Any], technician: User) -> None:
    body["disposition"] = {"state": "left_off", "unsafe": True}
    said = paper(body, technician)
    assert "Isolating is NOT recorded. Labelling is NOT recorded. Who was told is not recorded." in said


def test_over_range_is_more_than_and_never_a_plain_figure(body: dict[str, Any], technician: User) -> None:
    facts = paper_facts(unsafe(body), technician)
    shown = f"{facts.readings[0].derived.co_ppm_air_free:.0f}"
    said = words(visit_pdf(facts, known_on=KNOWN_ON))
    assert f"> {shown} found" in said
    assert "> 4000" in said
    pin = next(row for row in rule_rows(facts) if row.label == "CO air-free").rules["high"].found[0]
    assert pin.qualifier == "more_than"


def test_a_sample_that_is_mostly_air_has_raw_co_and_no_air_free_figure(body: dict[str, Any], technician: User) -> None:
    for number in range(4):
        with_values(body, number, o2=measured("18.5", "%"), co=measured("30", "ppm"))
        body["readings"][number]["values"].pop("co2")
    facts = paper_facts(body, technician)
    said = words(visit_pdf(facts, known_on=KNOWN_ON))
    assert "found: raw CO 30 ppm, no air-free figure at O₂ 18.5 %." in said
    assert "Repeat at a proper sampling point." in said
    row = next(each for each in rule_rows(facts) if each.label == "CO air-free")
    assert not any([*rule.found, *rule.left] for rule in row.rules.values())
    assert "As found and as left, no reading could be judged." in said
    assert ", invalid" in said


def test_a_visit_without_readings_says_so(body: dict[str, Any], technician: User) -> None:
    body |= {"readings": [], "work": [], "outcome": "not_tested", "outcome_reason": "nobody in", "conditions": {}}
    said = paper(body | {"disposition": {"state": "not_touched"}}, technician)
    assert "Not tested: nobody in. Nothing was read, so nothing was held against a limit. Not touched on" in said
    assert "within as recorded" not in said
    assert "Readings as found and as left" not in said


def test_missing_pins_are_left_out(body: dict[str, Any], technician: User) -> None:
    body["readings"], body["work"], body["left_as_found"] = body["readings"][:2], [], True
    rules = rule_rows(paper_facts(body, technician))[0].rules
    assert all(rule.found and not rule.left for rule in rules.values())


def test_band_target_and_walls_stand_on_the_rule(body: dict[str, Any], technician: User) -> None:
    gas, air_free = rule_rows(paper_facts(body, technician))
    assert (gas.rules["high"].band_lower, gas.rules["high"].band_upper) == (9.1, 9.7)
    assert gas.rules["low"].target == 9.1
    assert [wall.at for wall in air_free.rules["high"].walls] == [250, 400]
    assert [pin.text for pin in gas.rules["high"].found] == ["8.90"]
    scales = {(rule.low, rule.high) for rule in gas.rules.values()}
    assert len(scales) == 1


def test_a_set_that_nobody_reviewed_says_so_beside_its_verdict(
    body: dict[str, Any], technician: User, manager: User, boiler: Appliance
) -> None:
    attach(MANY_SETS, boiler, manager)
    said = paper(full(body), technician)
    assert "Neutral demo profile (not a legal limit set) v1: NOT REVIEWED; own figures" in said
    assert "v1 within as recorded within as recorded NOT REVIEWED; unverified" in said
    assert "sets listed below (7 of them not reviewed or unverified)." in said
    assert "NOx at 3 % O₂" in said
    assert "100?" in said
    assert "new plant not recorded, so whether this limit applies isn't known" in said


def test_the_opening_is_short_however_many_sets_there_are(
    body: dict[str, Any], technician: User, manager: User, boiler: Appliance
) -> None:
    attach(MANY_SETS, boiler, manager)
    said = opening(paper_facts(full(body), technician))
    assert said.startswith("As found, outside as recorded: CO air-free at high fire 397 ppm (limit ≤ 250 ppm);")
    assert len(said.split()) <= 60


def test_a_reviewed_set_names_who_reviewed_it(
    body: dict[str, Any], technician: User, manager: User, boiler: Appliance
) -> None:
    attach(("demo-neutral",), boiler, manager)
    limit_set = LimitSet.objects.get(key="demo-neutral")
    review = {"by": "O. Reviewer", "on": "2026-01-09", "source": "read against the text"}
    review_limit_set(limit_set=limit_set, review=review, actor=manager, now=NOON)
    said = paper(body, technician)
    assert "reviewed by O. Reviewer; own figures, no outside source" in said
    assert "NOT REVIEWED" not in said


def test_an_expired_calibration_and_an_expired_qualification_are_named(
    body: dict[str, Any], technician: User, manager: User, person: Person
) -> None:
    old = make_analyser(manager, valid_to="2025-12-31")
    for each in body["readings"]:
        each["analyser"] = str(old.id)
    person.qualifications.update(valid_to="2026-01-31")
    said = paper(body, technician)
    assert "NO calibration in force on 2 March 2026" in said
    assert "Ada Test, NO qualification for gas in force on 2 March 2026" in said
    assert "Noted on receipt" in said


def test_corrections_are_listed_with_reason_and_day_and_the_newest_is_shown(
    body: dict[str, Any], technician: User, manager: User
) -> None:
    facts = corrected(body, technician, manager)
    said = words(visit_pdf(facts, known_on=KNOWN_ON))
    assert "Corrections to this record: 2, as known on 5 March 2026. This paper shows the newest." in said
    assert "2 March 2026, 14:00, manager: CO at low fire was typed into the wrong field" in said
    assert f"SHA-256 {facts.records[-1].sha256}" in said
    changes = [(each.path, each.before, each.after) for each in changed_fields(*_contents(facts), VisitIn)]
    assert changes
    for path, before, after in changes:
        assert f"{path}: was {before or NONE}, is {after or NONE}" in said
    assert "somebody else, not on the register: NO qualification can be shown" in said
    assert "Reading 3: by somebody else with borrowed one." in said
    assert "φωτογραφία" in said
    assert "Ключ" in said


def _contents(facts: VisitFacts) -> tuple[dict[str, Any], dict[str, Any]]:
    return content_of(facts.records[0]), content_of(facts.records[1])


def test_a_correction_that_waits_is_said_on_paper(body: dict[str, Any], technician: User, manager: User) -> None:
    visit = store(body | {"defects": [{"what": "seal", "severity": "urgent"}]}, technician)
    draft = read_visit(copy.deepcopy(body) | {"defects": []})
    assert correct_visit(draft=draft, actor=manager, reason="typing error", version=1, now=NOON) is not None
    said = words(visit_pdf(visit_for(technician, visit.id), known_on=KNOWN_ON))
    assert "A correction waits: manager wants to take back a defect" in said
    assert "Corrections to this record: none, as known on 5 March 2026." in said


def test_everything_else_that_was_read_is_listed_with_its_unit(
    body: dict[str, Any], technician: User, analyser: Analyser
) -> None:
    said = paper(full(body), technician)
    for each in ("NOx 62 ppm", "Draught at the outlet −12.0 Pa", "Gas pressure, working 1980 Pa", "pressure 1009 hPa"):
        assert each in said
    assert "timed input 62.1 kW net, 68.8 kW gross" in said


def test_an_unstable_flame_stands_at_the_top(body: dict[str, Any], technician: User) -> None:
    body["readings"][1]["flame_unstable"] = True
    said = paper(body, technician)
    assert said.index("Flame at low fire, as found: unstable, outside") < said.rindex("As found")
    assert "Flame unstable at low fire" not in said


def test_demonstration_data_says_what_it_is(body: dict[str, Any], technician: User) -> None:
    facts = paper_facts(body, technician)
    facts.contractor.is_demo = True
    assert "INVENTED DEMONSTRATION DATA." in words(visit_pdf(facts, known_on=KNOWN_ON))


def test_a_paper_only_reads_what_it_was_given(body: dict[str, Any], technician: User) -> None:
    facts = paper_facts(body, technician)
    with CaptureQueriesContext(connection) as asked:
        visit_pdf(facts, known_on=KNOWN_ON)
    assert all(each["sql"].startswith("SELECT") and "fleet_attendance" in each["sql"] for each in asked)
    with CaptureQueriesContext(connection) as again:
        visit_pdf(replace(facts), known_on=KNOWN_ON)
    assert not again.captured_queries
