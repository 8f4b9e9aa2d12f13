"""What a draft would change is said beforehand, is what then comes true, and writes nothing."""

import copy
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.assess.consequences import Consequence, consequences_of
from fleet.assess.judging.cards import card_for
from fleet.assess.judging.cases import cases_of
from fleet.assess.judging.outcomes import outcome_of
from fleet.limits import evaluate
from fleet.models import (
    Analyser,
    Appliance,
    Client,
    Job,
    LimitSet,
    LimitSetVersion,
    Person,
    Record,
    RequiredCheck,
    Role,
    SheetVersion,
    User,
    Visit,
)
from fleet.models.register import new_id
from fleet.presentation.consequences import (
    applying_words,
    consequence_sentences,
    verdict_change_parts,
    verdict_change_words,
)
from fleet.queries.consequences import preview_limit_set, preview_sheet
from fleet.services.appliances import add_sheet_version
from fleet.services.limit_sets import add_limit_set_version, assign_limit_set
from fleet.services.revisits import refresh_appliance
from tests.cast import NOON, SHEET, make_analyser, make_appliance, make_building, make_user, store, visit_body

TODAY = NOON.date()
LATER = NOON + timedelta(days=1)
Stored = Callable[..., Visit]


def sheet_content(value: str = "9.4", tolerance: str = "0.3", **changes: Any) -> dict[str, Any]:
    """The cast's sheet with another target at high fire."""
    content = copy.deepcopy(SHEET) | changes
    content["targets"][0] |= {"value": value, "tolerance": tolerance}
    return content


def draft_of(appliance: Appliance, content: dict[str, Any]) -> SheetVersion:
    assert appliance.sheet is not None
    return SheetVersion(sheet=appliance.sheet, number=2, content=content)


def set_draft(key: str, **changes: Any) -> LimitSetVersion:
    limit_set = LimitSet.objects.get(key=key)
    content = copy.deepcopy(limit_set.current.content) | changes
    return LimitSetVersion(limit_set=limit_set, number=2, content=content, evidence=content["evidence"])


def attach(key: str, actor: User, since: date = date(2025, 1, 1), **place: Any) -> None:
    values = {"limit_set": LimitSet.objects.get(key=key), "since": since, "why": "decided for a test"} | place
    assign_limit_set(values=values, actor=actor, now=NOON)


def only(found: list[Consequence]) -> Consequence:
    (one,) = found
    return one


@pytest.fixture
def visited(boiler: Appliance, person: Person, analyser: Analyser, technician: User) -> Stored:
    """visited(day=..., left=...): a visit to the boiler, within its sheet unless told otherwise."""

    def visit(appliance: Appliance = boiler, **changes: Any) -> Visit:
        return store(visit_body(appliance, person, analyser, **({"found": ("9.40", "9.10")} | changes)), technician)

    return visit


def test_a_narrower_band_turns_the_newest_visit_and_says_so_figure_by_figure(
    boiler: Appliance, visited: Stored
) -> None:
    visited(left=("9.60", "9.10"))
    one = only(consequences_of(draft_of(boiler, sheet_content("9.4", "0.1")), day=TODAY))
    assert (one.outcome_before, one.outcome_after) == ("within", "outside")
    left = [each for each in one.verdicts if each.is_left]
    assert [verdict_change_parts(each) for each in left] == [
        {
            "source": "Test sheet",
            "label": "CO₂",
            "value": "9.60 %",
            "at": "high fire, as left",
            "before": "within",
            "after": "outside",
            "limit_before": "9.1 to 9.7 %",
            "limit_after": "9.3 to 9.5 %",
        }
    ]
    assert verdict_change_words(left[0]) == (
        "CO₂ 9.60 % at high fire, as left, by the limits of Test sheet: within (9.1 to 9.7 %) until now, outside "
        "(9.3 to 9.5 %) from now on."
    )
    assert consequence_sentences(one)[0] == (
        "Read as on 2 March 2026 it would be outside the limits as recorded from now on, where today it is within the "
        "limits as recorded. Its record keeps the verdict of its day."
    )


def test_figures_that_move_without_a_verdict_are_counted_not_listed(boiler: Appliance, visited: Stored) -> None:
    visited()
    one = only(consequences_of(draft_of(boiler, sheet_content("9.4", "0.2")), day=TODAY))
    assert not one.changes
    assert (one.verdicts, one.moved, one.otherwise) == ((), 2, True)


def test_only_the_newest_visit_with_readings_counts(
    boiler: Appliance, visited: Stored, person: Person, analyser: Analyser, technician: User
) -> None:
    visited(day="2025-03-02", left=("9.65", "9.10"))
    newest = visited(day="2026-02-02")
    nobody_in = visit_body(boiler, person, analyser) | {"outcome": "not_tested", "outcome_reason": "nobody in"}
    store(nobody_in | {"readings": [], "work": []}, technician)
    one = only(consequences_of(draft_of(boiler, sheet_content("9.4", "0.2")), day=TODAY))
    assert one.visit == newest
    assert not one.changes


def test_an_appliance_that_was_never_read_is_among_them_and_unchanged(boiler: Appliance) -> None:
    one = only(consequences_of(draft_of(boiler, sheet_content("9.4", "0.1")), day=TODAY))
    assert (one.visit, one.changes) == (None, False)


def test_what_has_left_or_has_another_sheet_is_not_among_them(boiler: Appliance, visited: Stored) -> None:
    visited()
    make_appliance(boiler.building, None, "Bare")
    make_appliance(boiler.building, boiler.sheet, "Gone", in_service_to=TODAY - timedelta(days=1))
    assert [each.appliance for each in consequences_of(draft_of(boiler, sheet_content()), day=TODAY)] == [boiler]


def verdicts(visit: Visit) -> list[tuple[Any, ...]]:
    rows = visit.judgement.verdicts["verdicts"]
    return sorted(
        (each["limit_id"], each["reading_key"] or "", each["phase"] or "", each["outcome"], str(each["keeps"]))
        for each in rows
        if each["kind"] != "stop_level"
    )


@pytest.mark.parametrize(
    ("value", "tolerance"), [("9.4", "0.3"), ("9.4", "0.1"), ("9.0", "0.2"), ("9.65", "0.05"), ("8.9", "0.5")]
)
def test_what_the_preview_said_is_what_a_repeated_visit_is_judged_by_the_new_version(
    boiler: Appliance, visited: Stored, manager: User, value: str, tolerance: str
) -> None:
    before = visited(left=("9.60", "9.10"))
    content = sheet_content(value, tolerance)
    said = only(consequences_of(draft_of(boiler, content), day=TODAY))
    add_sheet_version(sheet=boiler.sheet, content=content, actor=manager, now=LATER, id=new_id())
    again = visited(day="2026-03-03", left=("9.60", "9.10"))
    assert (said.outcome_before, said.outcome_after) == (before.judgement.outcome, again.judgement.outcome)
    then, now = verdicts(before), verdicts(again)
    turned = {(a[0], a[1]) for a, b in zip(then, now, strict=True) if a[3] != b[3]}
    assert len(said.verdicts) == len(turned)


def test_a_preview_writes_nothing_and_the_record_keeps_the_verdict_of_its_day(
    boiler: Appliance, visited: Stored, manager: User
) -> None:
    visit = visited(left=("9.60", "9.10"))
    attach("fr-4-400kw", manager, appliance=boiler)
    before = (Record.objects.count(), Job.objects.count(), verdicts(visit), list(RequiredCheck.objects.values()))
    with CaptureQueriesContext(connection) as captured:
        preview_sheet(sheet=boiler.sheet, content=sheet_content("9.4", "0.1"), viewer=manager, day=TODAY)
        draft = set_draft("fr-4-400kw", interval={"type": "none"})
        preview_limit_set(limit_set=draft.limit_set, content=draft.content, viewer=manager, day=TODAY)
    assert not any(each["sql"].startswith(("INSERT", "UPDATE", "DELETE")) for each in captured)
    visit = Visit.objects.get()
    assert (
        Record.objects.count(),
        Job.objects.count(),
        verdicts(visit),
        list(RequiredCheck.objects.values()),
    ) == before


# ---- limit sets ----


def test_a_limit_that_begins_to_apply_is_named_and_judged(boiler: Appliance, visited: Stored, manager: User) -> None:
    visited()
    attach("us-trade-co-practice", manager, appliance=boiler)
    limits = LimitSet.objects.get(key="us-trade-co-practice").current.content["limits"]
    stricter = dict(limits[0]) | {"id": "ours", "fires_when": {"op": ">", "value": "5"}, "limit_text": "<= 5"}
    stricter |= {"quantity": "co", "basis": "air_free", "unit": "ppm"}
    one = only(consequences_of(set_draft("us-trade-co-practice", limits=[*limits, stricter]), day=TODAY))
    assert [applying_words(each) for each in one.newly] == ["CO air-free ≤ 5 ppm"]
    assert {(each.before, each.after) for each in one.verdicts} == {("", "outside")}
    assert "not held against this one until now, outside (≤ 5 ppm) from now on." in verdict_change_words(
        one.verdicts[0]
    )
    fewer = only(consequences_of(set_draft("us-trade-co-practice", limits=limits[1:]), day=TODAY))
    assert len(fewer.no_longer) == 1


def test_another_interval_moves_the_next_due_date_and_what_is_said_comes_true(
    boiler: Appliance, visited: Stored, manager: User
) -> None:
    visited()
    attach("demo-neutral", manager, building=boiler.building)
    refresh_appliance(appliance=boiler, now=NOON)
    draft = set_draft("demo-neutral", interval={"type": "max_months", "months": 6})
    (change,) = only(consequences_of(draft, day=TODAY)).dues
    assert (change.before, change.after) == (date(2027, 3, 2), date(2026, 9, 2))
    add_limit_set_version(limit_set=draft.limit_set, content=draft.content, actor=manager, now=LATER, id=new_id())
    assert RequiredCheck.objects.get().due == change.after


@pytest.mark.parametrize("starts", [True, False])
def test_a_required_check_that_begins_or_ends_with_the_draft_is_said(
    boiler: Appliance, visited: Stored, manager: User, starts: bool
) -> None:
    visited()
    key = "us-trade-co-practice" if starts else "demo-neutral"
    if starts:
        content = LimitSet.objects.get(key=key).current.content | {"interval": {"type": "none"}}
        add_limit_set_version(
            limit_set=LimitSet.objects.get(key=key), content=content, actor=manager, now=NOON, id=new_id()
        )
    attach(key, manager, appliance=boiler)
    rule = {"type": "max_months", "months": 12} if starts else {"type": "none"}
    (change,) = only(consequences_of(set_draft(key, interval=rule), day=TODAY)).dues
    assert (change.before, change.after) == ((None, date(2027, 3, 2)) if starts else (date(2027, 3, 2), None))


def test_a_sheet_s_fact_that_an_interval_asks_for_moves_its_due_date(
    boiler: Appliance, visited: Stored, manager: User
) -> None:
    visited()  # without a draught, which this set asks for: its required check counts from its beginning
    attach("it-dpr74", manager, appliance=boiler)
    refresh_appliance(appliance=boiler, now=NOON)
    (change,) = only(consequences_of(draft_of(boiler, sheet_content(rated_output_kw="120")), day=TODAY)).dues
    assert (change.before, change.after) == (date(2029, 1, 1), date(2027, 1, 1))
    add_sheet_version(
        sheet=boiler.sheet, content=sheet_content(rated_output_kw="120"), actor=manager, now=LATER, id=new_id()
    )
    refresh_appliance(appliance=Appliance.objects.get(id=boiler.id), now=LATER)
    assert RequiredCheck.objects.get().due == change.after


def test_a_set_reaches_by_client_building_and_appliance_while_its_assignment_stands(
    boiler: Appliance, client_of_ours: Client, manager: User
) -> None:
    other = make_appliance(make_building(client_of_ours, "Lock House"), None, "Boiler 2")
    draft = set_draft("demo-neutral")
    assert consequences_of(draft, day=TODAY) == []
    attach("demo-neutral", manager, appliance=boiler)
    assert [each.appliance for each in consequences_of(draft, day=TODAY)] == [boiler]
    attach("demo-neutral", manager, client=client_of_ours)
    assert {each.appliance for each in consequences_of(draft, day=TODAY)} == {boiler, other}
    assert consequences_of(draft, day=date(2024, 12, 31)) == []


# ---- the preview as a whole ----


def test_the_preview_counts_all_and_names_what_the_viewer_may_see(
    boiler: Appliance, visited: Stored, client_of_ours: Client
) -> None:
    theirs = make_appliance(make_building(Client.objects.create(name="Mill Trust"), "Mill"), boiler.sheet, "Boiler 9")
    steady = make_appliance(boiler.building, boiler.sheet, "Boiler 2")
    make_appliance(boiler.building, boiler.sheet, "Boiler 3")
    for appliance, high in ((boiler, "9.60"), (theirs, "9.60"), (steady, "9.40")):
        visited(appliance, left=(high, "9.10"))
    viewer = make_user("ours only", Role.MANAGER, sees_all_clients=False)
    viewer.clients.add(client_of_ours)
    preview = preview_sheet(sheet=boiler.sheet, content=sheet_content("9.4", "0.1"), viewer=viewer, day=TODAY)
    assert [each.appliance for each in preview.changed] == [boiler]
    assert (preview.moved, preview.same, preview.unread, preview.unseen) == (2, 0, 1, 1)
    assert preview.summary.startswith("Of 4 appliances under it 2 change.")
    assert "Boiler 9" not in " ".join(each.appliance.name for each in preview.changed)


def test_the_same_content_again_changes_nothing(boiler: Appliance, manager: User) -> None:
    preview = preview_sheet(sheet=boiler.sheet, content=copy.deepcopy(SHEET), viewer=manager, day=TODAY)
    assert (preview.differences, preview.changed, preview.based_on, preview.number) == ((), (), 1, 2)
    assert preview.summary == "It says nothing that version 1 doesn't say."


def test_appliances_that_differ_in_what_a_card_asks_are_each_judged_by_their_own(
    boiler: Appliance, visited: Stored, client_of_ours: Client, person: Person, technician: User, manager: User
) -> None:
    """Those alike share a table; none may be judged by another's sets, facts, fuel, zone or analyser."""
    far = make_building(client_of_ours, "Far House")
    type(far).objects.filter(id=far.id).update(time_zone="Pacific/Auckland")
    far.refresh_from_db()
    own_analyser = make_analyser(manager, co2="measured")
    made = {
        "plain": boiler,
        "alike": make_appliance(boiler.building, boiler.sheet, "Alike"),
        "facts": make_appliance(boiler.building, boiler.sheet, "Facts", facts={"output_kW": 20, "new_plant": True}),
        "oil": make_appliance(boiler.building, boiler.sheet, "Oil", fuel="light_oil"),
        "far": make_appliance(far, boiler.sheet, "Far"),
        "own set": make_appliance(boiler.building, boiler.sheet, "Own set"),
        "unread": make_appliance(far, boiler.sheet, "Unread", fuel="propane"),
    }
    attach("de-1bimschv", manager, client=client_of_ours)
    attach("us-trade-co-practice", manager, building=far)
    attach("uk-bs7967-in-service", manager, appliance=made["own set"])
    for name, appliance in made.items():
        if name != "unread":
            store(visit_body(appliance, person, own_analyser if name == "alike" else Analyser.objects.earliest("id"),
                             found=("9.40", "9.10"), left=("9.60", "9.10"), co="90"), technician)  # fmt: skip
    draft = draft_of(boiler, sheet_content("9.4", "0.1", condensing=False, control="linkage"))
    found = {each.appliance: each for each in consequences_of(draft, day=TODAY)}
    assert set(found) == set(made.values())
    for name, appliance in made.items():
        said, visit = found[appliance], Visit.objects.filter(appliance=appliance).first()
        analyser = visit.readings.first().analyser if visit else None
        tables = [card_for(appliance, TODAY, analyser, visit=visit, instead=each).table for each in (None, draft)]
        rows = [{(row.set_id, row.limit_id) for row in [*each.limits, *each.bands]} for each in tables]
        assert len(said.newly) == len(rows[1] - rows[0]), name
        assert len(said.no_longer) == len(rows[0] - rows[1]), name
        if visit:
            outcomes = [
                outcome_of(evaluate(each, cases_of(visit)).verdicts, list(visit.readings.all()), ()).outcome
                for each in tables
            ]
            assert [said.outcome_before, said.outcome_after] == outcomes, name
    assert len({str((each.newly, each.no_longer)) for each in found.values()}) == 2


def test_many_appliances_alike_take_as_many_queries_as_few(boiler: Appliance, visited: Stored) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            consequences_of(draft_of(boiler, sheet_content("9.4", "0.1", rated_output_kw="40")), day=TODAY)
        return len(captured)

    visited()
    few = queries()
    for number in range(4):
        visited(make_appliance(boiler.building, boiler.sheet, f"Boiler 1{number}"), left=("9.60", "9.10"))
    assert queries() == few <= 20


LOGGED_CO = {"at_s": list(range(0, 240, 10)), "o2": ["4.2"] * 24, "co": ["40"] * 12 + ["90"] * 12}


def co_limit(value: str, severity: str = "shut_down") -> list[dict[str, Any]]:
    limit = dict(LimitSet.objects.get(key="us-trade-co-practice").current.content["limits"][0])
    limit |= {"id": "ours", "quantity": "co", "basis": "air_free", "unit": "ppm", "severity": severity, "when": "any"}
    return [limit | {"fires_when": {"op": ">", "value": value}, "limit_text": "", "select": {}}]


def by_our_limit(manager: User, boiler: Appliance, before: Any, after: Any) -> Consequence:
    attach("us-trade-co-practice", manager, appliance=boiler)
    limit_set = LimitSet.objects.get(key="us-trade-co-practice")
    content = limit_set.current.content | {"limits": before}
    add_limit_set_version(limit_set=limit_set, content=content, actor=manager, now=NOON, id=new_id())
    return only(consequences_of(set_draft("us-trade-co-practice", limits=after), day=TODAY))


@pytest.mark.parametrize(("before", "after", "stops"), [("shut_down", "normal", False), ("advise", "shut_down", True)])
def test_what_is_outside_and_graded_otherwise_is_told_with_what_becomes_of_the_firing(
    boiler: Appliance, visited: Stored, manager: User, before: str, after: str, stops: bool
) -> None:
    visited(co="90")
    one = by_our_limit(manager, boiler, co_limit("20", before), co_limit("20", after))
    assert {(each.before, each.after, each.graded_otherwise) for each in one.verdicts} == {("outside", "outside", True)}
    said = verdict_change_words(one.verdicts[0])
    until, _sep, from_now = said.partition(" until now, ")
    grades = [each.replace("_", " ") for each in (before, after)]
    ends = ["it doesn't end the firing", "it ends the firing"]
    assert until.endswith(f"outside (≤ 20 ppm, grade: {grades[0]}, {ends[not stops]})")
    assert from_now == f"outside (≤ 20 ppm, grade: {grades[1]}, {ends[stops]}) from now on."


def test_a_grade_that_nothing_meets_is_no_verdict_and_not_nothing(
    boiler: Appliance, visited: Stored, manager: User
) -> None:
    visited()
    one = by_our_limit(manager, boiler, co_limit("900"), co_limit("900", "normal"))
    assert (one.changes, one.otherwise) == (False, True)


@pytest.mark.parametrize(
    "change", [{"raises_co2": "clockwise"}, {"largest_step_turns": "40"}, {"field_adjustment": "check_only"}]
)
def test_what_is_turned_otherwise_is_not_nothing(boiler: Appliance, manager: User, change: dict[str, Any]) -> None:
    content = sheet_content()
    content["adjusters"][0] |= change
    preview = preview_sheet(sheet=boiler.sheet, content=content, viewer=manager, day=TODAY)
    assert (preview.moved, preview.same) == (1, 0)
    assert "under other figures, grades or adjusters" in preview.summary
    assert ("To look at twice: adjuster ratio screw for high fire" in preview.summary) == ("raises_co2" in change)


def test_a_reading_and_its_logged_series_are_one_and_what_moved_is_said(
    boiler: Appliance, visited: Stored, manager: User, person: Person, analyser: Analyser, technician: User
) -> None:
    body = visit_body(boiler, person, analyser, found=("9.40", "9.10"), co="40")
    body["readings"][0]["series"] = LOGGED_CO
    store(body, technician)
    one = by_our_limit(manager, boiler, co_limit("80"), co_limit("900"))
    (turned,) = one.verdicts
    assert (turned.before, turned.after) == ("outside", "within")
    assert "as it was logged" in verdict_change_words(turned).partition(" until now")[0]
    assert "as it was logged" not in verdict_change_words(turned).partition(" until now")[2]
