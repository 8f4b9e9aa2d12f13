"""Attempts without access: evidence, counted since the last visit; the proposal stays open."""

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from fleet.errors import FleetError
from fleet.models import Analyser, Appliance, NoAccess, Person, Revisit, User
from fleet.queries.attention import attention_for
from fleet.queries.records import visible_files
from fleet.services.files import store_file
from fleet.services.no_access import record_no_access
from fleet.services.revisit_days import book_day
from tests import pictures
from tests.cast import NOON, make_appliance, make_building, propose_revisit, store, visit_body
from tests.intake.refused import said_of
from tests.services.test_revisits import under

MONTHLY = {"type": "max_months", "months": 3}


def tried(appliances: list[Appliance], actor: User, days: int = 0, **changes: Any) -> list[NoAccess]:
    at = NOON + timedelta(days=days)
    said = {"kind": "nobody_in", "note": "", "letter": "card left", "at": at} | changes
    return record_no_access(appliances=appliances, actor=actor, now=NOON + timedelta(days=days, hours=1), **said)


@pytest.fixture
def revisit(boiler: Appliance, manager: User) -> Revisit:
    under(boiler, manager, "Quarterly", MONTHLY, date(2026, 1, 10))
    proposed = propose_revisit(appliance=boiler, now=NOON)
    assert proposed is not None
    return proposed


def test_the_proposal_stays_open_and_begins_the_day_after(
    boiler: Appliance, revisit: Revisit, technician: User
) -> None:
    tried([boiler], technician)
    again = propose_revisit(appliance=boiler, now=NOON)
    assert again is not None
    assert (again.earliest, again.latest, again.no_access) == (date(2026, 3, 3), revisit.latest, 1)


def test_the_day_that_was_set_is_taken_back_with_the_reason(
    boiler: Appliance, revisit: Revisit, technician: User, dispatcher: User
) -> None:
    book_day(
        revisit=revisit, version=revisit.version, state="confirmed", day=NOON.date(), note="", notice=None,
        actor=dispatcher, now=NOON,
    )  # fmt: skip
    tried([boiler], technician, kind="no_key")
    revisit.refresh_from_db()
    assert (revisit.state, revisit.day, revisit.note) == ("proposed", None, "no key, 2026-03-02")


def test_a_day_still_to_come_stands(boiler: Appliance, revisit: Revisit, technician: User, dispatcher: User) -> None:
    day = NOON.date() + timedelta(days=9)
    book_day(
        revisit=revisit, version=revisit.version, state="confirmed", day=day, note="", notice=None,
        actor=dispatcher, now=NOON,
    )  # fmt: skip
    tried([boiler], technician)
    revisit.refresh_from_db()
    assert revisit.day == day


def test_three_attempts_are_listed_until_somebody_gets_in(
    boiler: Appliance, revisit: Revisit, technician: User, person: Person, analyser: Analyser
) -> None:
    for days in (0, 2):
        tried([boiler], technician, days)
        propose_revisit(appliance=boiler, now=NOON + timedelta(days=days))
    assert attention_for(technician, NOON.date()).no_access == ()
    tried([boiler], technician, 4, kind="refused")
    propose_revisit(appliance=boiler, now=NOON + timedelta(days=4))
    assert attention_for(technician, NOON.date()).no_access == (revisit,)
    store(visit_body(boiler, person, analyser, day="2026-03-07"), technician, NOON + timedelta(days=5))
    propose_revisit(appliance=boiler, now=NOON + timedelta(days=5))
    assert attention_for(technician, NOON.date()).no_access == ()
    assert NoAccess.objects.count() == 3


def test_one_attempt_at_a_building_counts_for_each_appliance_and_once(boiler: Appliance, technician: User) -> None:
    both = [boiler, make_appliance(boiler.building, boiler.sheet, "Boiler 2")]
    first = tried(both, technician)
    assert tried(both, technician) == first
    assert NoAccess.objects.count() == 2


def test_the_day_is_that_of_the_building(boiler: Appliance, technician: User) -> None:
    boiler.building.time_zone = "Pacific/Auckland"
    assert tried([boiler], technician)[0].local_date == date(2026, 3, 3)


def test_a_letter_or_photo_is_kept_with_it(
    boiler: Appliance, technician: User, outsider: User, settings: Any, tmp_path: Path
) -> None:
    settings.MEDIA_ROOT = tmp_path
    (attempt,) = tried([boiler], technician)
    kept = {"name": "door", "media_type": "image/png", "data": pictures.png(), "what": "letter"}
    file, made = store_file(no_access=attempt, actor=technician, now=NOON, **kept)
    again, twice = store_file(no_access=attempt, actor=technician, now=NOON, **kept)
    assert (made, twice, again) == (True, False, file)
    assert list(attempt.files.all()) == [file]
    assert visible_files(technician).filter(id=file.id).exists()
    assert not visible_files(outsider).filter(id=file.id).exists()


@pytest.mark.parametrize(
    ("changes", "field"),
    [({"kind": "odd"}, "kind"), ({"at": NOON + timedelta(days=1)}, "at"), ({"appliances": []}, "appliances")],
)
def test_what_cannot_be_is_refused(boiler: Appliance, technician: User, changes: dict[str, Any], field: str) -> None:
    appliances = changes.pop("appliances", [boiler])
    with pytest.raises(FleetError) as refused:
        tried(appliances, technician, **changes)
    assert list(said_of(refused.value)) == [field]  # type: ignore[call-overload]  # a mapping
    assert not NoAccess.objects.exists()


def test_one_attempt_is_at_one_building(boiler: Appliance, technician: User) -> None:
    elsewhere = make_appliance(make_building(boiler.building.client, "Mill House"), boiler.sheet, "Boiler 9")
    with pytest.raises(FleetError):
        tried([boiler, elsewhere], technician)
