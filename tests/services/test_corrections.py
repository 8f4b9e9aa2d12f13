"""A correction never launders: what takes something back waits for more than one person's word."""

import copy
from datetime import timedelta
from typing import Any

import pytest

from fleet.errors import Conflict, FleetError, Forbidden
from fleet.intake.visits import VisitIn, read_visit
from fleet.models import Analyser, Appliance, Correction, Flag, Person, Record, StoredFile, User, Visit
from fleet.presentation.corrections import changed_fields, waiting_words, why_corrected
from fleet.services.corrections import confirm_correction, correct_visit, refuse_correction
from fleet.services.files import store_file
from tests import pictures
from tests.cast import NOON, make_user, measured, store, visit_body

LATER = NOON + timedelta(days=1)


@pytest.fixture
def condemned(body: dict[str, Any], technician: User) -> dict[str, Any]:
    """CO over 2 000 ppm as found and as left, isolated, declared unsafe, a check failed, a defect left."""
    for each in body["readings"]:
        each["values"]["co"] = measured("2100", "ppm")
    body["disposition"] = {"state": "isolated", "unsafe": True, "details": {"reason": "spilling"}}
    body["defects"] = [{"what": "cracked exchanger", "severity": "unsafe"}]
    body["inspection_points"] = body["inspection_points"] | {"flue_ok": False}
    store(body, technician)
    return body


def softened(body: dict[str, Any]) -> dict[str, Any]:
    soft = copy.deepcopy(body)
    for each in soft["readings"]:
        each["values"]["co"] = measured("21", "ppm")
    soft["disposition"] = {"state": "left_in_use"}
    soft["inspection_points"]["flue_ok"] = True
    return soft | {"defects": []}


def correct(body: dict[str, Any], actor: User, **more: Any) -> Correction | None:
    given = {"reason": "typing error", "version": 1, "now": LATER} | more
    return correct_visit(draft=read_visit(copy.deepcopy(body)), actor=actor, **given)


def as_it_stands(visit_id: str) -> tuple[Any, ...]:
    visit = Visit.objects.select_related("judgement").get(id=visit_id)
    flags = Flag.objects.filter(visit=visit_id, closed_at=None).values_list("kind", flat=True)
    return visit.unsafe, visit.disposition, visit.judgement.outcome, visit.defects.count(), sorted(flags)


def test_what_takes_something_back_changes_nothing_until_a_second_person_has_confirmed_it(
    condemned: dict[str, Any], dispatcher: User, manager: User
) -> None:
    stands, records = as_it_stands(condemned["id"]), Record.objects.count()
    waiting = correct(softened(condemned), dispatcher)
    assert waiting is not None
    assert waiting.takes_back == [
        "defect",
        "defect_left",
        "failed_check",
        "left_off",
        "outside",
        "stop_level",
        "unsafe",
    ]
    assert "a finding at stop level" in waiting_words(waiting)
    assert (as_it_stands(condemned["id"]), Record.objects.count()) == (stands, records)

    told = {each.path: (each.before, each.after) for each in changed_fields(condemned, softened(condemned), VisitIn)}
    assert told["Reading 1, CO"] == ("2100 ppm", "21 ppm")
    logged = (
        {"readings": [{"series": {"at_s": [0, 10], "co": [3, 4]}}]},
        {"readings": [{"series": {"at_s": [0, 10], "co": [3, 5]}}]},
    )
    (one,) = changed_fields(*logged, VisitIn)
    assert one.before.startswith("2 moments logged") and one.before != one.after
    with pytest.raises(Forbidden, match="else"):
        confirm_correction(correction=waiting, version=1, note="right", actor=dispatcher, now=LATER)
    assert as_it_stands(condemned["id"]) == stands

    visit = confirm_correction(correction=waiting, version=1, note="seen the print-out", actor=manager, now=LATER)
    assert (visit.unsafe, visit.judgement.outcome, visit.disposition) == (False, "within", "left_in_use")
    assert "confirmed by" in why_corrected(visit.record)
    waiting.refresh_from_db()
    assert (waiting.ended, waiting.ended_by) == ("confirmed", manager)


@pytest.mark.parametrize(
    ("change", "takes_back"),
    [
        ({"disposition": {"state": "isolated"}}, ["unsafe"]),
        ({"disposition": {"state": "left_in_use", "unsafe": True, "details": {"reason": "x"}}}, ["left_off"]),
        ({"defects": []}, ["defect", "defect_left"]),
        ({"defects": [{"what": "cracked exchanger", "severity": "repair"}]}, ["defect", "defect_left"]),
        ({"defects": [{"what": "cracked exchanger", "severity": "unsafe", "done": True}]}, ["defect_left"]),
        ({"inspection_points": {}}, ["failed_check"]),
        ({"readings": [], "work": [], "outcome": "not_tested", "outcome_reason": "no gas"}, ["outside", "stop_level"]),
    ],
)
def test_each_thing_that_was_held_against_it_waits_by_itself(
    condemned: dict[str, Any], dispatcher: User, change: dict[str, Any], takes_back: list[str]
) -> None:
    waiting = correct(condemned | change, dispatcher)
    assert waiting is not None
    assert waiting.takes_back == takes_back


@pytest.mark.parametrize(
    "change",
    [
        {"note": "the flue was looked at too"},
        {
            "defects": [
                {"what": "cracked exchanger", "severity": "unsafe"},
                {"what": "loose label", "severity": "repair"},
            ]
        },
        {"disposition": {"state": "left_off", "unsafe": True, "details": {"reason": "spilling"}}},
    ],
    ids=["a note", "one more defect", "off instead of isolated"],
)
def test_what_takes_nothing_back_is_in_force_at_once(
    condemned: dict[str, Any], dispatcher: User, change: dict[str, Any]
) -> None:
    assert correct(condemned | change, dispatcher) is None
    assert Record.objects.filter(kind="visit", subject=condemned["id"]).count() == 2


def test_what_makes_it_worse_is_in_force_at_once(body: dict[str, Any], technician: User, dispatcher: User) -> None:
    body["defects"] = [{"what": "loose label", "severity": "repair"}]
    store(body, technician)
    worse = copy.deepcopy(body) | {"defects": [{"what": "loose label", "severity": "unsafe"}]}
    worse["readings"][3]["values"]["co"] = measured("2100", "ppm")
    assert correct(worse, dispatcher) is None
    assert as_it_stands(body["id"])[2] == "outside"
    assert Flag.objects.filter(kind="stop_level", closed_at=None).exists()


def test_a_second_log_in_of_the_same_person_confirms_nothing(
    condemned: dict[str, Any], dispatcher: User, manager: User
) -> None:
    waiting = correct(softened(condemned), dispatcher)
    assert waiting is not None
    for name, value in (("email", "cy@weir.example"), ("first_name", "Cy"), ("last_name", "Test")):
        setattr(dispatcher, name, value)
    dispatcher.save()
    by_mail = make_user("cy.too", "manager")
    by_mail.email = "CY@weir.example"
    by_name = make_user("cy.three", "manager")
    by_name.first_name, by_name.last_name = "CY", "TEST"
    for again in (by_mail, by_name):
        again.save()
        waiting.made_by = dispatcher
        with pytest.raises(Forbidden):
            confirm_correction(correction=waiting, version=1, note="right", actor=again, now=LATER)
    assert confirm_correction(correction=waiting, version=1, note="right", actor=manager, now=LATER)


def test_a_file_that_came_with_the_visit_from_somebody_else_bears_it_out(
    condemned: dict[str, Any], technician: User, dispatcher: User, settings: Any, tmp_path: Any
) -> None:
    settings.MEDIA_ROOT = tmp_path
    visit = Visit.objects.get(id=condemned["id"])
    own, theirs = (attached(visit, by, name) for by, name in ((dispatcher, "a.png"), (technician, "b.png")))
    with pytest.raises(FleetError) as refused:
        correct(softened(condemned), dispatcher, shown_by=own.id)
    assert list(refused.value.errors) == ["shown_by"]
    assert correct(softened(condemned), dispatcher, shown_by=theirs.id) is None
    assert as_it_stands(condemned["id"])[0] is False
    assert "by a file" in why_corrected(Visit.objects.get(id=visit.id).record)


def attached(visit: Visit, by: User, name: str) -> StoredFile:
    what = {"a.png": "analyser_print_out", "b.png": "other"}[name]
    given = {"name": name, "media_type": "image/png", "data": pictures.png(), "what": what}
    return store_file(visit=visit, actor=by, now=NOON, **given)[0]


@pytest.mark.parametrize(("analyser_given", "waits"), [(None, False), ("borrowed", True)])
def test_a_later_test_that_is_evidence_lets_it_through(
    condemned: dict[str, Any], boiler: Appliance, person: Person, analyser: Analyser, technician: User,
    dispatcher: User, analyser_given: str | None, waits: bool,
) -> None:  # fmt: skip
    later = visit_body(boiler, person, analyser, day="2026-03-09")
    for each in later["readings"] if analyser_given else ():
        each["analyser"] = analyser_given
    store(later, technician, NOON + timedelta(days=7))
    waiting = correct(softened(condemned), dispatcher, now=NOON + timedelta(days=8))
    assert (waiting is not None) == waits


def test_one_waits_at_a_time_and_the_same_again_is_the_same(
    condemned: dict[str, Any], dispatcher: User, manager: User
) -> None:
    first = correct(softened(condemned), dispatcher)
    assert first is not None
    assert correct(softened(condemned), dispatcher) == first
    with pytest.raises(Conflict):
        correct(softened(condemned) | {"note": "another"}, manager)
    refuse_correction(correction=first, version=1, note="the print-out says 2100", actor=manager, now=LATER)
    assert correct(softened(condemned) | {"note": "another"}, manager) is not None


def test_what_was_corrected_meanwhile_is_not_confirmed(
    condemned: dict[str, Any], dispatcher: User, manager: User
) -> None:
    waiting = correct(softened(condemned), dispatcher)
    assert waiting is not None
    assert correct(condemned | {"note": "worse than thought"}, manager) is None
    with pytest.raises(Conflict):
        confirm_correction(correction=waiting, version=1, note="right", actor=manager, now=LATER)
    waiting.refresh_from_db()
    assert waiting.ended_at is None


def test_a_visit_moved_to_another_appliance_takes_back_what_it_held_against_this_one(
    condemned: dict[str, Any], boiler: Appliance, dispatcher: User
) -> None:
    other = Appliance.objects.create(
        building=boiler.building,
        sheet=boiler.sheet,
        name="Boiler 2",
        serial="2",
        in_service_from=boiler.in_service_from,
    )
    waiting = correct(condemned | {"appliance": str(other.id)}, dispatcher)
    assert waiting is not None
    assert "stop_level" in waiting.takes_back
