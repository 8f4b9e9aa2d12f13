"""Sheets and limit sets as pages: read by everybody, changed by managers, shown beforehand, nothing typed ever lost."""

import copy
import re

import pytest
from django.utils import timezone
from pytest_django.fixtures import Settings

from fleet.models import Analyser, Appliance, LimitSet, ModelSheet, Person, Record, Role, SheetVersion, User
from fleet.models.register import new_id
from fleet.services.appliances import add_sheet_version
from fleet.services.limit_sets import add_limit_set_version, assign_limit_set
from tests.cast import NOON, SHEET, make_appliance, make_sheet, store, visit_body
from tests.web.forms_sent import again, edit, fields_of
from tests.web.markup import words_of
from tests.web.opened import browser_of, checked, opened, queries_of, sent


@pytest.fixture(autouse=True)
def at_noon(settings: Settings) -> None:
    settings.CLOCK_OFFSET = NOON - timezone.now()


@pytest.fixture
def users(manager: User, dispatcher: User, technician: User, auditor: User) -> dict[str, User]:
    return {user.role: user for user in (manager, dispatcher, technician, auditor)}


@pytest.fixture
def neutral(boiler: Appliance, manager: User) -> LimitSet:
    """The neutral profile, applied to the boiler's building."""
    limit_set = LimitSet.objects.get(key="demo-neutral")
    values = {"limit_set": limit_set, "building": boiler.building, "since": "2025-01-01", "why": "chosen for a test"}
    assign_limit_set(values=values, actor=manager, now=NOON)
    return limit_set


@pytest.fixture
def left_high(boiler: Appliance, person: Person, analyser: Analyser, technician: User) -> None:
    """A visit that left CO2 at high fire near the upper end of the cast's band."""
    store(visit_body(boiler, person, analyser, found=("9.40", "9.10"), left=("9.60", "9.10")), technician)


# ---- read by everybody ----


@pytest.mark.parametrize("role", Role.values)
def test_the_list_a_sheet_and_a_set_open_for_every_role_and_only_managers_find_ways_to_change(
    users: dict[str, User], boiler: Appliance, neutral: LimitSet, role: str
) -> None:
    assert boiler.sheet is not None
    paths = ["/sheets/", f"/sheets/{boiler.sheet_id}/", f"/limit-sets/{neutral.id}/"]
    for path in paths:
        page = opened(users[role], path)
        may_write = "/import/" in page or "/retire/" in page
        assert may_write == (role == Role.MANAGER)
    for path in (
        "/sheets/new/",
        "/sheets/import/",
        f"/sheets/{boiler.sheet_id}/edit/",
        f"/limit-sets/{neutral.id}/edit/",
    ):
        assert browser_of(users[role]).get(path).status_code == (200 if role == Role.MANAGER else 403)


def test_an_installation_that_has_just_begun_has_no_sheet_and_no_set_applies(manager: User) -> None:
    page = words_of(opened(manager, "/sheets/"))
    assert "No sheet and 35 limit sets. No set applies anywhere." in page


def test_the_list_says_who_has_what_and_which_sets_apply_where_reviewed_by_whom(
    boiler: Appliance, neutral: LimitSet, auditor: User
) -> None:
    page = words_of(opened(auditor, "/sheets/"))
    assert "One settings sheet and 35 limit sets. One set applies somewhere. Nobody has reviewed one of them." in page
    assert "Test sheet natural gas, pneumatic ratio, condensing version 1 of 2 Mar 2026, by manager 1 appliance" in page
    assert "Neutral demo profile (not a legal limit set) v1 (not reviewed)" in page
    assert "Weir House: 1 appliance" in page
    assert page.index("Neutral demo profile") < page.index("Limit sets that apply nowhere yet")


def test_who_sees_some_clients_is_told_that_only_theirs_are_counted(
    boiler: Appliance, neutral: LimitSet, auditor: User, dispatcher: User
) -> None:
    for path in ("/sheets/", f"/sheets/{boiler.sheet_id}/", f"/limit-sets/{neutral.id}/"):
        for user in (auditor, dispatcher):
            said = "counted and named here of the clients that you may see" in words_of(opened(user, path))
            assert said is not user.sees_all_clients


def test_a_sheet_draws_its_targets_and_ceilings_and_says_them(boiler: Appliance, auditor: User) -> None:
    page = opened(auditor, f"/sheets/{boiler.sheet_id}/")
    assert page.count('class="stretch"') == 3  # two targets and the key
    said = words_of(page)
    assert "CO₂, high fire 9.1 to 9.7 % (9.4 plus and minus 0.3 points); casing closed" in said
    assert "High fire ratio screw: anticlockwise raises CO₂" in said
    assert "Boiler 1 , Weir House Weir Trust" in said
    assert "the manufacturer's instructions, the local code and licensed practice come first" in said


def test_what_is_not_stated_of_an_adjuster_is_said_and_the_caution_stands_without_any(
    boiler: Appliance, manager: User
) -> None:
    content = copy.deepcopy(SHEET)
    content["adjusters"][0]["sealed"] = False
    for name in ("largest_step", "largest_step_turns"):
        content["adjusters"][0].pop(name, None)
    add_sheet_version(sheet=boiler.sheet, content=content, actor=manager, now=NOON, id=new_id())
    page = words_of(opened(manager, f"/sheets/{boiler.sheet_id}/"))
    assert "largest step not stated; not sealed" in page
    add_sheet_version(sheet=boiler.sheet, content=content | {"adjusters": []}, actor=manager, now=NOON, id=new_id())
    page = words_of(opened(manager, f"/sheets/{boiler.sheet_id}/"))
    assert "None is stated: no advice can be given on turning anything." in page
    assert "the manufacturer's instructions, the local code and licensed practice come first" in page


def test_an_order_between_rates_and_a_largest_step_are_shown(boiler: Appliance, manager: User) -> None:
    content = copy.deepcopy(SHEET) | {
        "order_rules": [{"quantity": "co2", "higher_rate": "high", "lower_rate": "low", "least_gap": "0.3"}]
    }
    content["adjusters"][0]["largest_step_turns"] = "0.25"
    content |= {"minimum_gas_pressure_pa": "1700", "natural_draught": False}
    add_sheet_version(sheet=boiler.sheet, content=content, actor=manager, now=NOON, id=new_id())
    page = words_of(opened(manager, f"/sheets/{boiler.sheet_id}/"))
    assert "CO₂ at high fire at least 0.3 points above low fire." in page
    assert "0.25 turns" in page
    assert "Least gas pressure 1700 Pa" in page
    assert "Natural draught no" in page


def test_two_versions_are_compared_in_words(boiler: Appliance, manager: User) -> None:
    content = copy.deepcopy(SHEET)
    content["targets"][0]["tolerance_basis"] = "percent_of_target"
    add_sheet_version(sheet=boiler.sheet, content=content, actor=manager, now=NOON, id=new_id())
    page = words_of(opened(manager, f"/sheets/{boiler.sheet_id}/?from=1&to=2"))
    assert "Target CO₂ at high fire, casing closed: the tolerance is meant in points percent of the target" in page
    assert "Target CO₂ at high fire, casing closed: band 9.1 to 9.7 % 9.3718 to 9.4282 %" in page
    opened(manager, f"/sheets/{boiler.sheet_id}/?from=1&to=9", 404)


def test_a_set_says_what_each_limit_asks_by_which_source_and_how_well_that_is_known(
    neutral: LimitSet, auditor: User
) -> None:
    page = words_of(opened(auditor, f"/limit-sets/{neutral.id}/"))
    assert "Neutral demo profile (not a legal limit set) v1 (not reviewed)" in page
    assert "Nobody has reviewed it; own figures, no outside source." in page
    assert "No more than 12 months after the check before." in page
    assert "since 1 Jan 2025, decided by manager: chosen for a test" in page
    german = LimitSet.objects.get(key="de-1bimschv")
    page = words_of(opened(auditor, f"/limit-sets/{german.id}/"))
    assert "at most 11 %" in page
    assert "Once in every 3 calendar years. Age at most 12 years: once in every 3 calendar years." in page


def test_every_shipped_set_has_a_page(manager: User) -> None:
    for each in LimitSet.objects.all():
        opened(manager, f"/limit-sets/{each.id}/")
        opened(manager, f"/limit-sets/{each.id}/edit/")


# ---- a sheet changed: shown first, recorded as shown ----


def test_what_would_change_is_shown_and_recorded_only_then(boiler: Appliance, manager: User, left_high: None) -> None:
    path = f"/sheets/{boiler.sheet_id}/edit/"
    before = Record.objects.count()
    shown = edit(manager, path, targets__0__tolerance="0,1", act="preview")
    page = checked(shown)
    said = words_of(page)
    assert "One appliance is under it; it changes." in said
    assert (
        "CO₂ 9.60 % at high fire, as left, by the limits of Test sheet: within (9.1 to 9.7 %) until now, outside"
        in said
    )
    assert "a record keeps the verdict of its day" in said
    assert "Record as version 2" in said
    assert (Record.objects.count(), SheetVersion.objects.count()) == (before, 1)
    recorded = again(manager, path, page, act="record")
    assert recorded["Location"] == f"/sheets/{boiler.sheet_id}/"
    assert boiler.sheet.versions.get(number=2).content["targets"][0]["tolerance"] == "0.1"
    assert again(manager, path, page, act="record")["Location"] == recorded["Location"]
    assert SheetVersion.objects.count() == 2


def test_the_same_content_is_not_offered_to_be_recorded(boiler: Appliance, manager: User) -> None:
    page = words_of(checked(edit(manager, f"/sheets/{boiler.sheet_id}/edit/", act="preview")))
    assert "It says nothing that version 1 doesn't say." in page
    assert "Record as version" not in page


def test_what_was_not_shown_is_shown_before_it_is_recorded(boiler: Appliance, manager: User) -> None:
    path = f"/sheets/{boiler.sheet_id}/edit/"
    page = checked(edit(manager, path, targets__0__tolerance="0.2", act="preview"))
    answer = checked(again(manager, path, page, targets__0__tolerance="0.25", act="record"))
    assert "What was sent is not what was shown." in answer
    assert SheetVersion.objects.count() == 1
    assert checked(edit(manager, path, targets__0__tolerance="0.2", act="record")).count("not what was shown") == 1


def test_whoever_comes_second_sees_the_first_one_s_version_and_keeps_what_they_typed(
    boiler: Appliance, manager: User
) -> None:
    path = f"/sheets/{boiler.sheet_id}/edit/"
    page = checked(edit(manager, path, targets__0__tolerance="0.2", source="my own reading of page 4", act="preview"))
    other = copy.deepcopy(SHEET) | {"rated_output_kw": "57"}
    add_sheet_version(sheet=boiler.sheet, content=other, actor=manager, now=NOON, id=new_id())
    refused = again(manager, path, page, act="record")
    assert refused.status_code == 409
    text = checked(refused)
    said = words_of(text)
    assert "Version 2 came meanwhile, from manager. Nothing was recorded; what you typed is kept below." in said
    assert "Rated output, kW 58 57" in said  # what came meanwhile
    assert "Rated output, kW 57 58" in said  # and that recording would undo it
    assert fields_of(text)["targets-0-tolerance"] == "0.2"
    assert fields_of(text)["source"] == "my own reading of page 4"
    assert SheetVersion.objects.count() == 2
    assert again(manager, path, text, rated_output_kw="57", act="preview").status_code == 200
    fresh = checked(again(manager, path, text, rated_output_kw="57", act="preview"))
    assert again(manager, path, fresh, act="record").status_code == 302
    assert boiler.sheet.versions.get(number=3).content["rated_output_kw"] == "57"


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("targets-0-value", "3,1,4", "Target 1, Target"),
        ("targets-1-tolerance_basis", "", "Target 2, The tolerance is meant in"),
        ("targets-0-rate", "middle", "Target 1, Rate"),
        ("ceilings-0-value", "lots", "Ceiling 1, At most"),
        ("adjusters-1-largest_step_turns", "0", "Adjuster 2, Largest step"),
        ("rated_input_kw", "", "Rated input"),
        ("rates", "high, high", "Rates"),
        ("source", " ", "Source"),
    ],
)
def test_bad_input_names_the_field_and_keeps_all_that_was_typed(
    boiler: Appliance, manager: User, field: str, typed: str, said: str
) -> None:
    path = f"/sheets/{boiler.sheet_id}/edit/"
    answer = edit(manager, path, **{field: typed, "adjusters-0-place": "behind the cover <1>", "act": "preview"})
    page = checked(answer)
    assert answer.status_code == 422
    assert f'href="#{field}">{said}</a>' in page
    assert 'aria-invalid="true"' in page
    kept = fields_of(page)
    assert (kept[field], kept["adjusters-0-place"]) == (typed.strip(), "behind the cover <1>")
    assert SheetVersion.objects.count() == 1


def test_the_basis_of_a_tolerance_is_asked_for_and_has_no_default(boiler: Appliance, manager: User) -> None:
    path = f"/sheets/{boiler.sheet_id}/edit/"
    page = opened(manager, path)
    blank = fields_of(page)["targets-2-tolerance_basis"]
    typed = {"rate": "low", "quantity": "o2", "value": "4.5", "tolerance": "1", "casing": "any"}
    answer = edit(manager, path, **{f"targets-2-{name}": each for name, each in typed.items()}, act="preview")
    assert (blank, answer.status_code) == ("", 422)
    assert (
        "Target 3, The tolerance is meant in : it must be one of: points, percent of the target, a range"
        in words_of(checked(answer))
    )


def test_rows_are_added_in_blank_ones_and_left_out_by_a_tick(boiler: Appliance, manager: User) -> None:
    path = f"/sheets/{boiler.sheet_id}/edit/"
    added = {"order_rules-0-quantity": "co2", "order_rules-0-higher_rate": "high", "order_rules-0-lower_rate": "low",
             "targets-1-DELETE": "yes", "ceilings-1-quantity": "flue_temp", "ceilings-1-value": "90",
             "ceilings-1-rate": "any"}  # fmt: skip
    page = checked(edit(manager, path, **added, act="preview"))
    said = words_of(page)
    assert "Target CO₂ at low fire, casing closed 8.8 to 9.4 % (9.1 plus and minus 0.3 points) says nothing" in said
    assert "Ceiling flue temperature at any rate says nothing at most 90 °C" in said
    assert re.search(r'name="targets-1-DELETE"[^>]* checked', page)
    assert again(manager, path, page, act="record", **{"targets-1-DELETE": "yes"}).status_code == 302
    content = boiler.sheet.versions.get(number=2).content
    assert [each["rate"] for each in content["targets"]] == ["high"]
    assert content["ceilings"][1] == {"quantity": "flue_temp", "value": "90", "unit": "degC", "rate": "any"}
    assert content["order_rules"] == [{"quantity": "co2", "higher_rate": "high", "lower_rate": "low"}]


def test_a_form_sent_without_its_rows_or_with_a_made_up_count_is_refused_or_has_none(
    boiler: Appliance, neutral: LimitSet, manager: User
) -> None:
    path = f"/sheets/{boiler.sheet_id}/edit/"
    typed = fields_of(opened(manager, path))
    del typed["targets-TOTAL_FORMS"]
    assert "Target CO₂ at low fire, casing closed" in words_of(checked(sent(manager, path, **typed, act="preview")))
    made_up = {f"{name}-TOTAL_FORMS": "9" * 5000 for name in ("targets", "ceilings", "adjusters", "order_rules")}
    assert sent(manager, path, **typed | made_up, act="preview").status_code == 200
    for each in (path, "/sheets/new/", f"/limit-sets/{neutral.id}/edit/"):
        assert sent(manager, each).status_code == 422


def test_empty_rows_are_added_before_anything_is_read(boiler: Appliance, manager: User) -> None:
    for path in (f"/sheets/{boiler.sheet_id}/edit/", "/sheets/new/"):
        more = {
            "more": "targets",
            "targets-rows": "10",
            "targets-TOTAL_FORMS": "1",
            "targets-0-rate": "high",
            "fuel": "x",
        }
        page = checked(sent(manager, path, **more))
        assert 'class="fault" role="alert"' not in page
        assert [f'name="targets-{number}-value"' in page for number in (0, 10, 11)] == [True, True, False]


def test_a_form_sent_by_its_first_button_never_records(boiler: Appliance, neutral: LimitSet, manager: User) -> None:
    for path in (f"/sheets/{boiler.sheet_id}/edit/", f"/limit-sets/{neutral.id}/edit/"):
        change = {"source": "x"} if "/sheets/" in path else {"notes": "x"}
        page = checked(edit(manager, path, **change, act="preview"))
        form = max(re.findall(r'<form method="post".*?</form>', page, re.S), key=len)
        buttons = re.findall(r'<button[^>]*value="(\w+)"', form)
        assert (buttons[0], "record" in buttons) == ("preview", True)


def test_every_field_has_a_label_and_none_holds_json(boiler: Appliance, manager: User) -> None:
    page = opened(manager, f"/sheets/{boiler.sheet_id}/edit/")
    asked = set(re.findall(r'<(?:input|select|textarea)[^>]* id="([^"]*)"', page))
    assert asked <= set(re.findall(r'<label for="([^"]*)"', page))
    assert "{&quot;" not in page


# ---- new, copied, retired ----


def test_a_new_sheet_is_made_from_its_fields(boiler: Appliance, manager: User) -> None:
    typed = fields_of(opened(manager, f"/sheets/{boiler.sheet_id}/edit/"))
    nameless = sent(manager, "/sheets/new/", **typed)
    assert nameless.status_code == 422
    assert "is empty; it must be given." in checked(nameless)
    made = sent(manager, "/sheets/new/", **typed, name="Another model")
    sheet = ModelSheet.objects.get(name="Another model")
    assert made["Location"] == f"/sheets/{sheet.id}/"
    assert sheet.current.content == SHEET


def test_a_sheet_of_the_name_of_another_in_use_is_refused_at_its_name(boiler: Appliance, manager: User) -> None:
    typed = fields_of(opened(manager, f"/sheets/{boiler.sheet_id}/edit/"))
    refused = sent(manager, "/sheets/new/", **typed, name="Test sheet")
    assert (refused.status_code, SAME_NAME in checked(refused)) == (422, True)
    copied = sent(manager, f"/sheets/{boiler.sheet_id}/copy/", name="Test sheet")
    assert (copied.status_code, SAME_NAME in checked(copied)) == (400, True)
    sent(manager, f"/sheets/{boiler.sheet_id}/retire/", version="1", retired="yes")
    assert sent(manager, "/sheets/new/", **typed, name="Test sheet").status_code == 302
    back = sent(manager, f"/sheets/{boiler.sheet_id}/retire/", version="2")
    assert (back.status_code, SAME_NAME in checked(back)) == (400, True)


SAME_NAME = "is Test sheet; another sheet in use has that very name"


def test_a_sheet_is_copied_under_another_name(boiler: Appliance, manager: User) -> None:
    path = f"/sheets/{boiler.sheet_id}/copy/"
    refused = sent(manager, path, name="")
    assert (refused.status_code, "Give it a name." in checked(refused)) == (400, True)
    sent(manager, path, name="A copy")
    made = ModelSheet.objects.get(name="A copy")
    assert made.current.content["source"] == "Copied from Test sheet v1. invented for tests"


def test_retired_and_taken_back(boiler: Appliance, manager: User) -> None:
    path = f"/sheets/{boiler.sheet_id}/"
    assert "One appliance is under it and stays so. Retire it from today on" in words_of(opened(manager, path))
    assert sent(manager, f"{path}retire/", version="1", retired="yes")["Location"] == path
    assert "Retired on 2 March 2026: no further appliance gets it." in words_of(opened(manager, path))
    late = sent(manager, f"{path}retire/", version="1")
    assert late.status_code == 409
    assert "no longer at version 1" in checked(late)
    sent(manager, f"{path}retire/", version="2")
    assert "Retired on" not in opened(manager, path)


# ---- many ----


def test_the_pages_take_as_many_queries_for_many_as_for_few(
    boiler: Appliance, neutral: LimitSet, person: Person, analyser: Analyser, manager: User, technician: User
) -> None:
    paths = ["/sheets/", f"/sheets/{boiler.sheet_id}/", f"/limit-sets/{neutral.id}/"]
    before = {path: queries_of(manager, path) for path in paths}
    for number in range(3):
        make_sheet(manager, name=f"Sheet {number}")
        make_appliance(boiler.building, boiler.sheet, f"Boiler 1{number}")
        add_sheet_version(sheet=boiler.sheet, content=copy.deepcopy(SHEET), actor=manager, now=NOON, id=new_id())
        add_limit_set_version(limit_set=neutral, content=neutral.current.content, actor=manager, now=NOON, id=new_id())
        other = LimitSet.objects.exclude(id=neutral.id)[number]
        values = {"limit_set": other, "client": boiler.building.client, "since": "2025-01-01", "why": "more"}
        assign_limit_set(values=values, actor=manager, now=NOON)
    assert {path: queries_of(manager, path) for path in paths} == before
    assert max(before.values()) <= 16


def test_names_are_written_as_text(boiler: Appliance, neutral: LimitSet, manager: User) -> None:
    hostile = '<img src=x onerror="alert(1)">'
    ModelSheet.objects.update(name=hostile)
    LimitSet.objects.update(name=hostile)
    content = copy.deepcopy(SHEET) | {"source": hostile}
    content["adjusters"][0] |= {"name": hostile, "place": hostile}
    add_sheet_version(sheet=boiler.sheet, content=content, actor=manager, now=NOON, id=new_id())
    for path in (
        "/sheets/",
        f"/sheets/{boiler.sheet_id}/",
        f"/sheets/{boiler.sheet_id}/edit/",
        f"/limit-sets/{neutral.id}/",
    ):
        text = opened(manager, path)
        assert "<img" not in text
        assert "&lt;img src=x" in text
