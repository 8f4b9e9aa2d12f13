"""Defects: by when each is to be mended, and one closed by a named person."""

from datetime import date, timedelta
from typing import Any

import pytest

from fleet.errors import Conflict, FleetError
from fleet.models import Appliance, Contractor, Defect, Job, Revisit, User
from fleet.services.defects import settle_defect
from fleet.services.projections import check
from fleet.services.revisits import propose_revisit
from tests.cast import NOON, store
from tests.services.test_deliveries import under


def found(body: dict[str, Any], actor: User, **said: Any) -> Defect:
    store(body | {"defects": [{"what": "seal worn", "severity": "mend"} | said]}, actor)
    return Defect.objects.get()


@pytest.mark.parametrize(
    ("severity", "due"), [("unsafe", date(2026, 3, 2)), ("at risk", date(2026, 3, 16)), ("mend", date(2026, 3, 30))]
)
def test_without_a_day_the_contractors_own_days_count(
    body: dict[str, Any], technician: User, severity: str, due: date
) -> None:
    defect = found(body, technician, severity=severity)
    assert (defect.due, defect.mend_by) == (due, None)
    assert defect.due_words.startswith("by the contractor's own choice: ")


def test_a_note_has_no_day(body: dict[str, Any], technician: User) -> None:
    assert found(body, technician, severity="note").due is None


def test_what_the_visit_recorded_counts_instead_of_the_contractors_days(body: dict[str, Any], technician: User) -> None:
    defect = found(body, technician, mend_by="2026-05-01")
    assert (defect.due, defect.due_words) == (date(2026, 5, 1), "as recorded at the visit")


def test_a_set_that_applies_binds_where_it_is_earlier(
    boiler: Appliance, body: dict[str, Any], technician: User, manager: User
) -> None:
    # New York City boilers: defects corrected within 90 days of the inspection (secondary source, medium confidence).
    under(boiler, "us-nyc-dob-annual", manager)
    defect = found(body, technician, mend_by="2026-12-01")
    assert defect.due == date(2026, 5, 31)
    assert defect.due_words.endswith("90 days after 2 Mar 2026 is 31 May 2026")


def test_another_choice_of_the_contractor_dates_open_defects_again(
    boiler: Appliance, body: dict[str, Any], technician: User
) -> None:
    defect = found(body, technician)
    Contractor.objects.update(mend_within_days={"mend": 7})
    revisit = propose_revisit(appliance=boiler, now=NOON)
    defect.refresh_from_db()
    assert defect.due == date(2026, 3, 9)
    assert revisit is not None
    assert (revisit.binding, revisit.latest) == ("defect", date(2026, 3, 9))


def test_its_dates_and_its_closing_are_no_matter_of_the_record(
    body: dict[str, Any], technician: User, dispatcher: User
) -> None:
    defect = found(body, technician)
    settle_defect(defect=defect, version=defect.version, why="mended by the owner", actor=dispatcher, now=NOON)
    assert list(check()) == []


def test_a_named_person_closes_it_with_a_reason_and_its_revisit_goes(
    boiler: Appliance, body: dict[str, Any], technician: User, dispatcher: User
) -> None:
    defect = found(body, technician)
    propose_revisit(appliance=boiler, now=NOON)
    Job.objects.all().delete()
    settled = settle_defect(defect=defect, version=defect.version, why="mended", actor=dispatcher, now=NOON)
    assert (settled.is_open, settled.settled_by, settled.settled_why) == (False, dispatcher, "mended")
    assert Job.objects.filter(kind="refresh_appliance", key=str(boiler.id)).exists()
    propose_revisit(appliance=boiler, now=NOON)
    assert not Revisit.objects.exists()


def test_it_is_closed_once_and_never_without_a_reason(body: dict[str, Any], technician: User, dispatcher: User) -> None:
    defect = found(body, technician)
    with pytest.raises(FleetError) as wordless:
        settle_defect(defect=defect, version=defect.version, why=" ", actor=dispatcher, now=NOON)
    assert wordless.value.code == "invalid"
    settle_defect(defect=defect, version=defect.version, why="mended", actor=dispatcher, now=NOON)
    with pytest.raises(Conflict):
        settle_defect(defect=defect, version=defect.version, why="again", actor=dispatcher, now=NOON)


def test_it_is_overdue_from_the_day_after_its_last(body: dict[str, Any], technician: User) -> None:
    defect = found(body, technician)
    assert not defect.is_overdue(date(2026, 3, 30))
    assert defect.is_overdue(date(2026, 3, 30) + timedelta(days=1))
