"""Two at once: between our look and our write somebody else does the same, or something else.

Theirs stands within our transaction here and goes with it where we are refused: that ours leaves nothing is asked.
"""

import copy
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from fleet.errors import Conflict, FleetError
from fleet.intake.visits import read_visit
from fleet.models import Appliance, Job, LimitSet, ModelSheet, OutOfUse, Record, StopLevels, User, Visit
from fleet.models.drafts import id_of_file
from fleet.models.register import new_id
from fleet.services import jobs
from fleet.services.appliances import make_sheet
from fleet.services.contractor import FIRST_STOP_LEVELS
from fleet.services.exchange import import_limit_set, import_sheet
from fleet.services.limit_sets import make_limit_set, set_stop_levels
from fleet.services.out_of_use import begin_out_of_use, end_out_of_use
from fleet.services.visits import amend_visit, record_visit
from tests import cast
from tests.cast import NOON, store
from tests.services.races import meanwhile


def refused(do: Callable[[], Any]) -> FleetError:
    with pytest.raises(FleetError) as refusal:
        do()
    return refusal.value


# ---- visits ----


def test_the_same_visit_by_two_at_once_is_stored_once_and_both_have_it(
    body: dict[str, Any], technician: User, dispatcher: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    draft = read_visit(body)
    meanwhile(monkeypatch, lambda: store(body, dispatcher))
    visit = record_visit(draft=draft, actor=technician, now=NOON)
    record = Record.objects.get(kind="visit")
    assert (visit.record, record.actor) == (record, dispatcher)
    assert Visit.objects.get() == visit and visit.readings.count() == 4


def test_another_visit_under_the_same_id_at_once_is_a_conflict_with_both_hashes(
    body: dict[str, Any], technician: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    draft = read_visit(copy.deepcopy(body))
    meanwhile(monkeypatch, lambda: store(body | {"note": "theirs"}, technician))
    conflict = refused(lambda: record_visit(draft=draft, actor=technician, now=NOON))
    assert conflict.code == "visit_differs"
    assert conflict.details["sent_sha256"] == draft.submitted_sha256
    assert conflict.details["stored_sha256"] == read_visit(body | {"note": "theirs"}).submitted_sha256
    assert not Visit.objects.exists()


def test_of_two_corrections_at_once_one_is_stored_and_the_other_reads_again(
    body: dict[str, Any], technician: User, dispatcher: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    store(body, technician)
    mine, theirs = (read_visit(body | {"note": note}) for note in ("mine", "theirs"))
    meanwhile(
        monkeypatch, lambda: amend_visit(draft=theirs, reason="typing error", version=1, actor=dispatcher, now=NOON)
    )
    conflict = refused(lambda: amend_visit(draft=mine, reason="typo", version=1, actor=technician, now=NOON))
    assert (conflict.code, conflict.status) == ("amended_meanwhile", 409)
    assert Visit.objects.get().note == ""
    assert Record.objects.filter(kind="visit").count() == 1


# ---- out of use, stop levels ----


def test_of_two_restarts_at_once_the_first_stands(
    boiler: Appliance, manager: User, dispatcher: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    content = {"begins": "2026-02-01", "why": "empty", "said_by": "the owner", "proof": ""}
    stretch = begin_out_of_use(appliance=boiler, content=content, actor=manager, now=NOON, id=new_id())
    ended = {"ends": "2026-02-20", "restart_said_by": "the owner", "restart_proof": ""}
    theirs = OutOfUse.objects.get()
    meanwhile(monkeypatch, lambda: end_out_of_use(out_of_use=theirs, content=ended, actor=dispatcher, now=NOON))
    conflict = refused(
        lambda: end_out_of_use(out_of_use=stretch, content=ended | {"ends": "2026-02-25"}, actor=manager, now=NOON)
    )
    assert conflict.code == "already_ended"
    assert OutOfUse.objects.get().ends is None
    assert Record.objects.filter(kind="out_of_use").count() == 1


def test_stop_levels_are_numbered_as_they_come(manager: User) -> None:
    before = StopLevels.objects.count()
    for co in ("300", "250"):
        content = FIRST_STOP_LEVELS | {"co_ppm_air_free": co}
        set_stop_levels(content=content, actor=manager, now=NOON, id=new_id())
    numbers = list(StopLevels.objects.order_by("number").values_list("number", "co_ppm_air_free"))
    assert numbers[before:] == [(before + 1, 300.0), (before + 2, 250.0)]


# ---- files of another installation ----


def sheet_file(**changes: Any) -> dict[str, Any]:
    content = copy.deepcopy(cast.SHEET) | changes.pop("content", {})
    return {"name": "Model 7", "external_reference": None, "content": content} | changes


def set_file(**changes: Any) -> dict[str, Any]:
    newest = LimitSet.objects.get(key="demo-neutral").current
    assert newest is not None
    content = newest.content | changes.pop("content", {})
    return {"key": "house-rules", "name": "House rules", "external_reference": None, "content": content} | changes


def test_a_sheets_file_makes_the_sheet_once_under_an_id_of_its_own(manager: User) -> None:
    first = import_sheet(file=sheet_file(), actor=manager, now=NOON)
    again = import_sheet(file=sheet_file(), actor=manager, now=NOON)
    assert (first.made, again.made, again.entry, again.number) == (True, False, first.entry, 1)
    assert first.entry.id == id_of_file(sheet_file())
    assert ModelSheet.objects.count() == 1


def test_a_file_that_says_what_an_older_version_says_is_known_by_that_version(manager: User) -> None:
    sheet = cast.make_sheet(manager, name="Model 7")
    newer = cast.SHEET | {"rated_input_kw": "61"}
    from_here = import_sheet(file=sheet_file(content=sheet.current.content), actor=manager, now=NOON)
    assert (from_here.entry, from_here.number) == (sheet, 1)
    conflict = refused(lambda: import_sheet(file=sheet_file(content=newer), actor=manager, now=NOON))
    assert (conflict.code, conflict.details["entry"]) == ("content_differs", str(sheet.id))
    assert sheet.versions.count() == 1


def test_the_reference_says_which_sheet_it_is_before_the_name_does(manager: User) -> None:
    by_reference = import_sheet(file=sheet_file(external_reference="R-1"), actor=manager, now=NOON).entry
    renamed = sheet_file(external_reference="R-1", name="Model 7, renamed")
    assert import_sheet(file=renamed, actor=manager, now=NOON).entry == by_reference
    other = sheet_file(external_reference="R-2", name="Model 8")
    assert import_sheet(file=other, actor=manager, now=NOON).made


def test_whose_file_comes_second_finds_what_the_first_made(manager: User, monkeypatch: pytest.MonkeyPatch) -> None:
    file = sheet_file()
    values = {"id": id_of_file(file), "name": file["name"], "external_reference": None}
    meanwhile(monkeypatch, lambda: make_sheet(values=values, content=file["content"], actor=manager, now=NOON))
    found = import_sheet(file=file, actor=manager, now=NOON)
    assert (found.entry.id, found.number, found.made) == (id_of_file(file), 1, False)
    assert ModelSheet.objects.count() == 1


@pytest.mark.parametrize(("months", "code"), [(12, None), (6, "content_differs")])
def test_whose_set_comes_second_finds_the_first_ones_or_sees_that_it_differs(
    manager: User, monkeypatch: pytest.MonkeyPatch, months: int, code: str | None
) -> None:
    file = set_file(content={"interval": {"type": "max_months", "months": 12}})
    theirs = file["content"] | {"interval": {"type": "max_months", "months": months}}
    values = {"key": file["key"], "name": file["name"]}
    before = LimitSet.objects.count()
    meanwhile(monkeypatch, lambda: make_limit_set(values=values, content=theirs, actor=manager, now=NOON))
    if code is None:
        assert import_limit_set(file=file, actor=manager, now=NOON).made is False
    else:
        assert refused(lambda: import_limit_set(file=file, actor=manager, now=NOON)).code == code
    assert LimitSet.objects.count() == before + 1


def test_a_file_that_can_be_made_into_nothing_is_told_as_it_is(manager: User) -> None:
    """Not as a race that it isn't."""
    assert list(refused(lambda: import_sheet(file=sheet_file(name=""), actor=manager, now=NOON)).errors) == ["name"]
    assert not ModelSheet.objects.exists()


# ---- background work ----


@pytest.mark.django_db
def test_work_that_is_taken_each_time_it_is_asked_for_is_busy_in_the_end(monkeypatch: pytest.MonkeyPatch) -> None:
    jobs.request_job(kind="refit", key="1", due_at=NOON)
    monkeypatch.setattr(jobs, "_held", lambda _kind, _keys: set())
    with pytest.raises(Conflict) as busy:
        jobs.request_job(kind="refit", key="1", due_at=NOON)
    assert busy.value.code == "busy"
    assert Job.objects.count() == 1


@pytest.mark.django_db
def test_work_that_was_taken_between_our_insert_and_our_look_is_asked_for_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """The insert met the waiting row; when we look for it, a worker has it: ours must be a row of its own."""
    jobs.request_job(kind="refit", key="1", due_at=NOON)
    held = jobs._held

    def taken_first(kind: str, keys: Any) -> set[str]:
        monkeypatch.setattr(jobs, "_held", held)
        assert jobs.claim_job(job_id=Job.objects.get().id, now=NOON)
        return held(kind, keys)

    monkeypatch.setattr(jobs, "_held", taken_first)
    jobs.request_job(kind="refit", key="1", due_at=NOON + timedelta(minutes=1))
    assert sorted(Job.objects.values_list("state", flat=True)) == ["running", "waiting"]


@pytest.mark.django_db
@pytest.mark.parametrize("state", ["waiting", "running", "done"])
def test_only_what_has_failed_or_was_cancelled_is_tried_again(state: str) -> None:
    job = Job.objects.create(kind="refit", key="1", due_at=NOON, state=state, tries=3)
    assert refused(lambda: jobs.retry_job(job=job, now=NOON)).code == "not_failed"
    job.refresh_from_db()
    assert (job.state, job.tries) == (state, 3)


@pytest.mark.django_db
@pytest.mark.parametrize("state", ["failed", "cancelled"])
def test_what_waits_anew_by_itself_is_not_tried_again_beside_it(state: str) -> None:
    ended = Job.objects.create(kind="refit", key="1", due_at=NOON, state=state, tries=8, last_error="ValueError: no")
    jobs.request_job(kind="refit", key="1", due_at=NOON)
    assert refused(lambda: jobs.retry_job(job=ended, now=NOON)).code == "waits_already"
    ended.refresh_from_db()
    assert (ended.state, ended.tries, ended.last_error) == (state, 8, "ValueError: no")
    assert Job.objects.filter(state="waiting").count() == 1
