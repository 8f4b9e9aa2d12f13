"""Analysers: which are in calibration, said in words, and every calibration as it was recorded."""

import re
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from fleet.models import Analyser, User
from fleet.models.register import new_id
from fleet.services.register import add_calibration
from tests.cast import NOON, make_analyser
from tests.web.opened import opened, queries_of

ENDS = 30  # days from NOON's to the last of the calibration


@pytest.fixture
def analyser(manager: User) -> Analyser:
    return make_analyser(manager, valid_to=f"{NOON + timedelta(days=ENDS):%Y-%m-%d}")


def text_of(user: User, path: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", opened(user, path)).split())


@pytest.mark.parametrize(
    ("days", "state", "opening"),
    [
        (-1, "in calibration", "Every analyser is in calibration"),
        (0, "ends within 30 days", "Every analyser is in calibration"),
        (ENDS, "ends within 30 days", "Every analyser is in calibration"),
        (ENDS + 1, "lapsed", "One analyser has no calibration in force"),
    ],
)
def test_each_stands_with_its_newest_calibration_and_what_becomes_of_it(
    analyser: Analyser, auditor: User, settings: Any, days: int, state: str, opening: str
) -> None:
    settings.CLOCK_OFFSET = NOON + timedelta(days=days) - timezone.now()
    page = text_of(auditor, "/analysers/")
    assert f"Analyser 1 A-1 {state} 10 Jan 2015 1 Apr 2026 C-1 a laboratory" in page
    assert opening in page and "entered and changed through the API" in page
    assert f"Analyser 1: {state}" in text_of(auditor, f"/analysers/{analyser.id}/")


def test_a_failed_calibration_ends_the_others_and_both_stand_as_recorded(analyser: Analyser, manager: User) -> None:
    said = {"done_on": "2015-02-01", "valid_to": "2030-01-01", "certificate": "C-2", "by": "b", "passed": False}
    add_calibration(analyser=analyser, content=said, actor=manager, now=NOON, id=new_id())
    assert "Analyser 1 A-1 not passed 1 Feb 2015" in text_of(manager, "/analysers/")
    page = text_of(manager, f"/analysers/{analyser.id}/")
    assert page.index("1 Feb 2015 1 Jan 2030 C-2 b not passed") < page.index("10 Jan 2015")
    assert analyser.calibrations.latest("id").record.sha256[:4] in page


def test_whoever_has_no_set_up_finds_the_analysers_beside_the_records(auditor: User, dispatcher: User) -> None:
    for user in (auditor, dispatcher):
        assert 'href="/analysers/"' in opened(user, "/records/")


def test_without_any_on_record_that_is_said(manager: User) -> None:
    Analyser.objects.create(name="Analyser 2", accuracy={})
    assert "Analyser 2 – none on record – – – –" in text_of(manager, "/analysers/")


def test_many_analysers_take_no_more_queries(analyser: Analyser, manager: User) -> None:
    few = queries_of(manager, "/analysers/")
    for _number in range(5):
        make_analyser(manager)
    assert queries_of(manager, "/analysers/") == few
