"""Limit sets as pages, and files of both kinds: shown before they are recorded, reviewed by a named person."""

import copy
import html
import io
import json
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from pytest_django.fixtures import Settings

from fleet.models import Analyser, Appliance, LimitSet, ModelSheet, Person, User
from fleet.models.register import new_id
from fleet.services.limit_sets import add_limit_set_version, assign_limit_set
from tests.cast import NOON, SHEET, store, visit_body
from tests.web.forms_sent import again, edit, fields_of
from tests.web.markup import main_of, words_of
from tests.web.opened import browser_of, checked, opened, sent


@pytest.fixture(autouse=True)
def at_noon(settings: Settings) -> None:
    settings.CLOCK_OFFSET = NOON - timezone.now()


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


def test_a_set_s_figures_are_changed_by_form_and_its_structure_stays(
    boiler: Appliance, neutral: LimitSet, manager: User, left_high: None
) -> None:
    path = f"/limit-sets/{neutral.id}/edit/"
    limits = neutral.current.content["limits"]
    index = next(number for number, each in enumerate(limits) if each["id"] == "demo-co-adjust")
    page = checked(
        edit(manager, path, **{f"limits-{index}-value": "10", f"limits-{index}-note": "ours", "act": "preview"})
    )
    said = words_of(page)
    assert "One appliance is under it; it changes." in said
    assert "until now, outside" in said
    assert "A new version is unreviewed until a named person has reviewed it." in said
    assert again(manager, path, page, act="record").status_code == 302
    now = LimitSet.objects.get(id=neutral.id).current
    assert (now.number, now.is_reviewed) == (2, False)
    changed = now.content["limits"][index]
    assert (changed["fires_when"]["value"], changed["note"]) == ("10", "ours")
    expected = copy.deepcopy(neutral.versions.get(number=1).content)
    expected["limits"][index]["fires_when"]["value"] = "10"
    expected["limits"][index]["note"] = "ours"
    assert now.content == expected


def test_a_source_is_added_by_form_with_how_well_it_is_known(neutral: LimitSet, manager: User) -> None:
    path = f"/limit-sets/{neutral.id}/"
    typed = {"document": "Rule 9 (3)", "edition": "rev. 2", "as_of": "2024-05", "evidence": "quoted_elsewhere"}
    asked = {f"sources-0-{name}": value for name, value in typed.items()}
    refused = checked(edit(manager, f"{path}edit/", **asked | {"sources-0-as_of": "May"}, act="preview"))
    assert 'href="#sources-0-as_of"' in refused
    page = checked(edit(manager, f"{path}edit/", **asked, act="preview"))
    assert "Rule 9 (3), rev. 2, as of May 2024: quoted elsewhere" in words_of(page)
    assert again(manager, f"{path}edit/", page, act="record").status_code == 302
    assert LimitSet.objects.get(id=neutral.id).current.content["sources"] == [typed]
    assert "Rule 9 (3), rev. 2, as of May 2024: quoted elsewhere" in words_of(opened(manager, path))
    leave = {"sources-0-DELETE": "yes"}
    gone = checked(edit(manager, f"{path}edit/", **leave, act="preview"))
    assert again(manager, f"{path}edit/", gone, **leave, act="record").status_code == 302
    assert LimitSet.objects.get(id=neutral.id).current.content["sources"] == []
    assert "Own figures, no outside source." in words_of(opened(manager, path))


def test_what_is_unverified_says_so_at_the_limit_the_interval_and_the_source(manager: User) -> None:
    page = words_of(opened(manager, f"/limit-sets/{LimitSet.objects.get(key='us-epa-6j-biennial').id}/"))
    limits, due, sources = (page.index(each) for each in ("Its limits", "When a check falls due", "Sources"))
    assert "40 CFR 63 subpart JJJJJJ 63.11223(c) unverified" in page[limits:due]
    assert "How well it is known: unverified." in page[due:sources]
    assert "40 CFR 63.11195, 63.11223, 63.11225, 63.11237: unverified month counts (25, 36, 61, 72)" in page[sources:]
    assert "40 CFR 63.11200, eCFR, as of 5 April 2026: official text read" in page[sources:]


def test_a_set_s_bad_figure_names_its_limit(neutral: LimitSet, manager: User) -> None:
    answer = edit(manager, f"/limit-sets/{neutral.id}/edit/", **{"limits-0-value": "much", "act": "preview"})
    page = checked(answer)
    assert answer.status_code == 422
    assert 'href="#limits-0-value"' in page
    assert "CO air-free, at most 100 ppm, as left, At most" in words_of(page)
    assert fields_of(page)["limits-0-value"] == "much"


def test_every_shipped_set_comes_back_from_its_form_as_it_was(manager: User) -> None:
    for each in LimitSet.objects.all():
        page = words_of(checked(edit(manager, f"/limit-sets/{each.id}/edit/", act="preview")))
        assert "It says nothing that version 1 doesn't say." in page, each.key


def test_whoever_changes_a_set_second_is_told_too(neutral: LimitSet, manager: User) -> None:
    path = f"/limit-sets/{neutral.id}/edit/"
    page = checked(edit(manager, path, notes="mine", act="preview"))
    content = neutral.current.content | {"notes": "theirs"}
    add_limit_set_version(limit_set=neutral, content=content, actor=manager, now=NOON, id=new_id())
    refused = again(manager, path, page, act="record")
    assert refused.status_code == 409
    assert "Version 2 came meanwhile, from manager." in checked(refused)
    assert fields_of(checked(refused))["notes"] == "mine"


def test_a_named_person_reviews_a_set_on_a_day_that_has_come(neutral: LimitSet, manager: User) -> None:
    path = f"/limit-sets/{neutral.id}/"
    review = {"number": "1", "by": "P. Example", "source": "the text of 2024"}
    ahead = sent(manager, f"{path}review/", **review, on=f"{NOON + timedelta(days=1):%Y-%m-%d}")
    assert ahead.status_code == 400
    assert "it must not be after today" in checked(ahead)
    assert 'value="P. Example"' in checked(ahead)
    assert sent(manager, f"{path}review/", **review, on="2026-03-01")["Location"] == path
    page = words_of(opened(manager, path))
    assert "Reviewed by P. Example on 1 March 2026 against the text of 2024" in page
    assert "not reviewed )" not in page.split("Versions")[0]
    assert sent(manager, f"{path}review/", **review, on="2026-03-01").status_code == 409


def test_a_copied_set_is_unreviewed_and_a_retired_one_says_so(neutral: LimitSet, manager: User) -> None:
    path = f"/limit-sets/{neutral.id}/"
    sent(manager, f"{path}review/", number="1", by="P. Example", on="2026-03-01", source="the text")
    assert sent(manager, f"{path}copy/", name="Ours", key="not a key").status_code == 400
    made = sent(manager, f"{path}copy/", name="Ours", key="ours")["Location"]
    page = words_of(opened(manager, made))
    assert "Nobody has reviewed it" in page
    assert "Copied from Neutral demo profile (not a legal limit set) v2" in page
    assert "One appliance is under it and stays so. Retire it from today on" in words_of(opened(manager, path))
    assert "No appliance is under it. Retire it from today on" in words_of(opened(manager, made))
    sent(manager, f"{path}retire/", version="1", retired="yes")
    assert "it is assigned nowhere more" in opened(manager, path)


# ---- files ----


def uploaded(user: User, file: Any, **values: str) -> Any:
    text = file if isinstance(file, str) else json.dumps(file)
    sent_file = io.BytesIO(text.encode())
    sent_file.name = "file.json"
    return browser_of(user).post("/sheets/import/", {"file": sent_file, **values})


def exported(user: User, path: str) -> dict[str, Any]:
    answer = browser_of(user).get(f"/api/v1{path}export")
    assert "attachment" in answer["Content-Disposition"]
    return dict(answer.json())


def test_a_file_makes_a_new_sheet_once_it_was_shown(boiler: Appliance, manager: User) -> None:
    file = exported(manager, f"/sheets/{boiler.sheet_id}/") | {"name": "From elsewhere"}
    shown = checked(uploaded(manager, file))
    assert "A new settings sheet" in html.unescape(shown)
    assert not ModelSheet.objects.filter(name="From elsewhere").exists()
    again(manager, "/sheets/import/", shown, act="record")
    assert ModelSheet.objects.get(name="From elsewhere").current.content == SHEET
    assert "It stands here already: From elsewhere v1 says the same." in checked(uploaded(manager, file))


def test_a_file_becomes_the_next_version_of_what_stands_here_after_it_was_shown(
    boiler: Appliance, neutral: LimitSet, manager: User, left_high: None
) -> None:
    file = exported(manager, f"/limit-sets/{neutral.id}/")
    file["content"]["interval"] = {"type": "max_months", "months": 6}
    shown = checked(uploaded(manager, file))
    said = words_of(shown)
    assert "Interval no more than 12 months after the check before no more than 6 months" in said
    assert "due 2 March 2027 until now, 2 September 2026 from now on." in said
    assert again(manager, "/sheets/import/", shown, act="record")["Location"] == f"/limit-sets/{neutral.id}/"
    assert LimitSet.objects.get(id=neutral.id).current.content["interval"]["months"] == 6


def test_a_broken_file_names_the_path_and_makes_nothing(boiler: Appliance, manager: User) -> None:
    file = exported(manager, f"/sheets/{boiler.sheet_id}/") | {"name": "Broken"}
    del file["content"]["targets"][1]["tolerance_basis"]
    for broken, said in (
        (file, "Content, target 2, tolerance basis"),
        ("{", "isn't JSON"),
        ("[1]", "schema"),
        ({"schema": "another/1"}, "fleet-limit-set/1"),
        ("", "none was chosen"),
    ):
        answer = uploaded(manager, broken)
        assert answer.status_code in (400, 422)
        assert said in html.unescape(main_of(checked(answer)))
    assert ModelSheet.objects.count() == 1


def test_each_rule_of_a_set_has_its_own_note(manager: User) -> None:
    page = words_of(opened(manager, f"/limit-sets/{LimitSet.objects.get(key='us-ca-scaqmd-1146').id}/"))
    own, further = (
        page.index("Portable-analyser emission check:"),
        page.index("Low-use tune-up: asked only of units recorded as low-use"),
    )
    assert own < further


def test_how_readings_are_judged_is_said_in_words_and_what_files_call_it_is_labelled_so(
    neutral: LimitSet, manager: User
) -> None:
    page = words_of(opened(manager, f"/limit-sets/{neutral.id}/"))
    assert f"Name in files {neutral.key} Readings judged by the reading itself, its uncertainty beside it" in page
