"""Deliveries, defects, revisits of a building and the contractor's choices, as pages and in each role."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse

from fleet.models import (
    Analyser,
    Appliance,
    Contractor,
    Defect,
    Delivery,
    Flag,
    Forecast,
    NoAccess,
    OccupierNotice,
    Person,
    Revisit,
    User,
)
from fleet.services.forecasts import refresh_forecasts
from tests.cast import NOON, make_user, propose_revisit, store
from tests.services.test_deliveries import corrected, under
from tests.services.test_revisits import flagged
from tests.services.test_revisits import under as under_required_check
from tests.web.markup import words_of
from tests.web.world import Foreign, make_foreign, may_be_outside


def browser(user: User) -> Browser:
    client = Browser()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.fixture
def delivery(boiler: Appliance, body: dict[str, Any], manager: User, technician: User) -> Delivery:
    under(boiler, "uk-gsiur-36", manager)
    store(body | {"defects": [{"what": "seal worn", "severity": "repair", "told": "the owner"}]}, technician)
    return Delivery.objects.get()


@pytest.fixture
def revisit(boiler: Appliance, manager: User) -> Revisit:
    under_required_check(boiler, manager, "Yearly", {"type": "max_months", "months": 24}, date(2025, 12, 1))
    proposed = propose_revisit(appliance=boiler, now=NOON)
    assert proposed is not None
    return proposed


@pytest.fixture
def foreign(boiler: Appliance, person: Person, analyser: Analyser, manager: User) -> Foreign:
    """Another client's boiler, under the same set, with a defect."""
    made = make_foreign(boiler, person, analyser, manager)
    Defect.objects.create(
        id="0198c2a4-7c00-7d3e-8f10-2b5a6c7d8e9f", visit=made.visit, appliance=made.appliance, what="their flue",
        severity="repair", due=date(2026, 3, 9),
    )  # fmt: skip
    return made


def text_of(client: Browser, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200, path
    return answer.content.decode()


# ---- deliveries ----


def test_the_deliveries_open_with_what_waits_and_what_is_overdue(delivery: Delivery, dispatcher: User) -> None:
    shown = text_of(browser(dispatcher), "/deliveries/")
    assert "One record waits to be delivered and one is overdue." in shown
    assert "28 days after the check on 2 March 2026 is 30 March 2026." in shown
    assert "Record that it was sent" in shown
    assert "Overdue" in text_of(browser(dispatcher), "/")


def test_who_may_not_send_reads_without_forms(delivery: Delivery, technician: User, auditor: User) -> None:
    for user in (technician, auditor):
        shown = text_of(browser(user), "/deliveries/")
        assert "existing tenant".capitalize() in shown
        assert '<form method="post" action="/deliveries/' not in shown
        sent = browser(user).post(reverse("delivery-send", args=[delivery.id]), {})
        assert sent.status_code == 403


def test_a_delivery_is_sent_and_comes_back(delivery: Delivery, dispatcher: User) -> None:
    client, send = browser(dispatcher), reverse("delivery-send", args=[delivery.id])
    given = {
        "version": delivery.version,
        "how": "post",
        "address": "1 Test Lane",
        "sent_on": "2026-03-04",
        "proof": "7",
    }
    assert client.post(send, given).status_code == 302
    assert "Sent by post to 1 Test Lane, " in text_of(client, "/deliveries/?which=sent")
    assert "No record waits to be delivered." in text_of(client, "/deliveries/")
    delivery.refresh_from_db()
    fail = {"version": delivery.version, "words": "returned"}
    assert client.post(reverse("delivery-fail", args=[delivery.id]), fail).status_code == 302
    assert '<b class="outside">Back in the office:</b> returned.' in text_of(client, "/deliveries/")


def test_on_the_day_of_a_correction_the_time_says_which_record_went(
    delivery: Delivery, body: dict[str, Any], manager: User, dispatcher: User
) -> None:
    visit = corrected(body, manager, note="the other boiler house")  # on 5 March, at 12:00 in Lisbon
    client, send = browser(dispatcher), reverse("delivery-send", args=[delivery.id])
    given = {"version": delivery.version, "how": "post", "address": "1 Test Lane", "sent_on": "2026-03-05"}
    answer = client.post(send, given)
    assert answer.status_code == 400
    assert "the record was corrected on that day" in answer.content.decode()
    shown = client.post(send, given | {"sent_time": "11:59"}, follow=True).content.decode()
    assert "the corrected one is still to be sent" in shown
    assert "Back in the office:</b> The record was corrected on" in shown
    delivery.refresh_from_db()
    given |= {"version": delivery.version, "sent_time": "12:01"}
    assert client.post(send, given).status_code == 302
    delivery.refresh_from_db()
    assert delivery.sent_at and delivery.sendings.last().record == visit.record


def test_a_refused_sending_keeps_what_was_typed(delivery: Delivery, dispatcher: User) -> None:
    given = {"version": delivery.version, "how": "post", "address": "12 Odd Street", "sent_on": "2020-01-01"}
    answer = browser(dispatcher).post(reverse("delivery-send", args=[delivery.id]), given)
    assert answer.status_code == 400
    assert "12 Odd Street" in answer.content.decode()
    assert Delivery.objects.get().sent_at is None


# ---- defects ----


def test_the_defects_open_with_what_is_overdue_and_one_is_closed(
    delivery: Delivery, dispatcher: User, technician: User
) -> None:
    shown = text_of(browser(dispatcher), "/defects/")
    assert "One defect is open and one is overdue." in shown
    assert "Told: the owner." in shown
    defect = Defect.objects.get()
    path = reverse("defect-resolve", args=[defect.id])
    assert browser(technician).post(path, {"version": defect.version, "words": "repaired"}).status_code == 403
    wordless = browser(dispatcher).post(path, {"version": defect.version, "words": ""})
    assert (wordless.status_code, Defect.objects.get().is_open) == (400, True)
    assert browser(dispatcher).post(path, {"version": defect.version, "words": "repaired"}).status_code == 302
    assert "No defect is open." in text_of(browser(dispatcher), "/defects/")


# ---- revisits of a building ----


def test_a_buildings_revisits_say_what_one_attendance_serves(revisit: Revisit, dispatcher: User) -> None:
    shown = text_of(browser(dispatcher), f"/buildings/{revisit.appliance.building_id}/revisits/")
    assert "One planned visit, from " in shown
    assert "Yearly: " in shown
    assert "Book the day" in shown


def test_a_day_is_set_with_what_the_occupier_knows_and_held(revisit: Revisit, dispatcher: User) -> None:
    client, path = browser(dispatcher), reverse("revisit-book", args=[revisit.id])
    given = {"version": revisit.version, "state": "confirmed", "day": "2190-04-01", "words": "caretaker has the key"}
    notice = {"kind": "agreed", "given_on": "2026-03-01", "how": "by telephone", "notice_days": "7"}
    assert client.post(path, given | notice).status_code == 302
    shown = text_of(client, f"/buildings/{revisit.appliance.building_id}/revisits/")
    assert "Confirmed for 1 April 2190, now needed by 1 December 2027." in shown
    assert "agreed of " in shown
    assert "Days that no longer fit" in text_of(client, "/")
    revisit.refresh_from_db()
    moved = client.post(path, {"version": revisit.version, "state": "booked", "day": "2190-04-02", "words": "kept"})
    assert (moved.status_code, OccupierNotice.objects.count()) == (409, 1)
    assert "the occupier knows of 1 April 2190" in moved.content.decode()
    assert 'value="kept"' in moved.content.decode()
    back = client.post(reverse("revisit-release", args=[revisit.id]), {"version": revisit.version, "words": "sick"})
    assert (back.status_code, Revisit.objects.get().day) == (302, None)


def test_half_of_a_notice_is_refused(revisit: Revisit, dispatcher: User) -> None:
    given = {"version": revisit.version, "state": "confirmed", "day": "2190-04-01", "how": "by telephone"}
    answer = browser(dispatcher).post(reverse("revisit-book", args=[revisit.id]), given)
    assert (answer.status_code, Revisit.objects.get().day) == (400, None)


def test_an_attempt_is_recorded_from_the_page_by_the_field(
    boiler: Appliance, revisit: Revisit, technician: User, auditor: User
) -> None:
    path = reverse("building-no-access", args=[boiler.building_id])
    given = {"appliance": [str(boiler.id)], "at": "2026-03-02T09:30", "kind": "no_key", "letter": "card left"}
    assert browser(auditor).post(path, given).status_code == 403
    assert browser(technician).post(path, given).status_code == 302
    attempt = NoAccess.objects.get()
    assert (attempt.kind, attempt.letter, attempt.by) == ("no_key", "card left", technician)
    shown = text_of(browser(auditor), f"/buildings/{boiler.building_id}/revisits/")
    assert "no key" in shown
    assert "no_key" not in shown
    assert "Record the attempt" not in shown
    nobody = browser(technician).post(path, given | {"appliance": []})
    assert (nobody.status_code, NoAccess.objects.count()) == (400, 1)


def test_three_attempts_are_said_on_attention(boiler: Appliance, revisit: Revisit, dispatcher: User) -> None:
    Revisit.objects.update(no_access=3)
    assert "3 attempts without access since the last visit." in text_of(browser(dispatcher), "/")


# ---- drift beyond the extra visits ----


def test_attention_says_which_risk_is_accepted(
    boiler: Appliance, body: dict[str, Any], technician: User, dispatcher: User
) -> None:
    store(body, technician)
    refresh_forecasts(appliances=[boiler], now=NOON)
    may_be_outside(boiler, Forecast.objects.get(quantity="co2", rate="low"))
    values = {
        "earliest": NOON.date(),
        "latest": NOON.date(),
        "date_set_by": "required_check",
        "why": ["flag", {"sentence": "x", "figures": {}}],
        "made_at": NOON,
    }
    values |= {"extra": "beyond", "accepted_risk": 0.2, "accepted_until": date(2027, 3, 2)}
    Revisit.objects.create(appliance=boiler, **values)
    shown = text_of(browser(dispatcher), "/")
    assert "Beyond the 6 extra visits a week; accepted risk: 20 % before 2 March 2027." in shown
    assert "One case stays listed beyond them" in shown or "1 case stays listed beyond them" in shown


# ---- the contractor's choices ----

CHOICES = {"accepted_risk": "8", "accepted_risk_co": "2", "accepted_risk_rise": "15", "flag_at": "30",
           "extra_visits_a_week": "6", "outside_within_days": "14", "repair_unsafe": "0", "repair_urgent": "14",
           "repair_repair": "28", "repair_note": ""}  # fmt: skip


def hidden(page: str, name: str) -> str:
    return page.split(f'name="{name}" value="', 1)[1].split('"', 1)[0]


def test_choices_are_shown_first_and_recorded_as_shown(boiler: Appliance, manager: User) -> None:
    client = browser(manager)
    flagged(boiler, Flag.Kind.OUTSIDE)
    propose_revisit(appliance=boiler, now=NOON)
    assert 'value="8.0"' in text_of(client, "/planning-settings/")
    shown = client.post(
        "/planning-settings/", CHOICES | {"outside_within_days": "7", "based_on": "1", "act": "preview"}
    )
    page = shown.content.decode()
    assert "1 planned visit moves" in page
    assert "2026-03-09 instead of 2026-03-16, 7 days earlier" not in page
    assert "9 March 2026 instead of 16 March 2026, 7 days earlier." in page
    assert Contractor.objects.get().outside_within_days == 14
    sent = CHOICES | {"outside_within_days": "7", "based_on": "1", "act": "record", "shown": hidden(page, "shown")}
    assert client.post("/planning-settings/", sent).status_code == 302
    assert Contractor.objects.get().outside_within_days == 7


def test_a_decimal_comma_is_read_as_everywhere_and_days_are_told_by_what_is_repaired(manager: User) -> None:
    typed = CHOICES | {"accepted_risk": "7,5", "repair_repair": "30", "based_on": "1", "act": "preview"}
    page = words_of(browser(manager).post("/planning-settings/", typed).content.decode())
    assert "Accepted risk of being outside 8 % 7.5 %" in page
    assert "Repairing an unsafe defect: on the same day; Repairing any other: within 30 days" in page
    assert "repair 28" not in page
    for figure in ("1e1", "7,5,1", "nan", "٧"):
        refused = browser(manager).post("/planning-settings/", typed | {"accepted_risk": figure})
        assert (refused.status_code, "It must be a figure from" in refused.content.decode()) == (400, True)


def test_other_choices_than_those_shown_are_shown_again(manager: User) -> None:
    client = browser(manager)
    page = client.post(
        "/planning-settings/", CHOICES | {"flag_at": "40", "based_on": "1", "act": "preview"}
    ).content.decode()
    sent = CHOICES | {"flag_at": "50", "based_on": "1", "act": "record", "shown": hidden(page, "shown")}
    answer = client.post("/planning-settings/", sent)
    assert answer.status_code == 409
    assert "What was sent is not what was shown." in answer.content.decode()
    assert Contractor.objects.get().flag_at == 0.3


def test_a_stale_preview_is_refused_and_shown_on_top_of_the_newest(manager: User) -> None:
    client = browser(manager)
    page = client.post(
        "/planning-settings/", CHOICES | {"flag_at": "40", "based_on": "1", "act": "preview"}
    ).content.decode()
    Contractor.objects.update(version=2, extra_visits_a_week=3)
    sent = CHOICES | {"flag_at": "40", "based_on": "1", "act": "record", "shown": hidden(page, "shown")}
    answer = client.post("/planning-settings/", sent)
    assert answer.status_code == 409
    assert "The planning settings were changed meanwhile." in answer.content.decode()
    assert hidden(answer.content.decode(), "based_on") == "2"
    assert Contractor.objects.get().flag_at == 0.3


def test_a_choice_out_of_bounds_is_said_at_its_field(manager: User) -> None:
    answer = browser(manager).post(
        "/planning-settings/", CHOICES | {"flag_at": "100", "based_on": "1", "act": "preview"}
    )
    assert answer.status_code == 400
    assert 'aria-describedby="id_flag_at_helptext id_flag_at_error"' in answer.content.decode()
    said = "A drift flag opens from : given 100. It must be a figure from 0.01 to 99.99, in per cent."
    assert said in words_of(answer.content.decode())
    typed = CHOICES | {"extra_visits_a_week": "many", "repair_note": "-1", "based_on": "1", "act": "preview"}
    page = browser(manager).post("/planning-settings/", typed).content.decode()
    assert "It must be a whole number from 0 to 1000." in page
    assert "It must be a whole number from 0 to 3650, or be left empty." in page


def test_only_the_manager_sees_the_choices(dispatcher: User, technician: User, auditor: User) -> None:
    for user in (dispatcher, technician, auditor):
        assert browser(user).get("/planning-settings/").status_code == 403
        assert browser(user).post("/planning-settings/", CHOICES).status_code == 403
        assert "/planning-settings/" not in browser(user).get("/").content.decode()


# ---- who may see what ----


def test_another_clients_follow_ups_are_nowhere(
    delivery: Delivery, foreign: Foreign, boiler: Appliance, client_of_ours: Any
) -> None:
    theirs = make_user("their dispatcher", "dispatcher", sees_all_clients=False)
    theirs.clients.add(foreign.client)
    client = browser(theirs)
    for path in ("/deliveries/", "/defects/"):
        assert boiler.building.name not in text_of(client, path)
    assert "Their flue" in text_of(client, "/defects/")
    ours = make_user("our dispatcher", "dispatcher", sees_all_clients=False)
    ours.clients.add(client_of_ours)
    assert "their flue" not in text_of(browser(ours), "/defects/").lower()
    assert client.get(f"/buildings/{boiler.building_id}/revisits/").status_code == 404
    send = reverse("delivery-send", args=[delivery.id])
    assert client.post(send, {"version": 1, "how": "post", "address": "x"}).status_code == 404
    assert browser(theirs).get(f"/deliveries/?client={client_of_ours.id}").status_code == 404


def test_hostile_words_are_written_as_text(delivery: Delivery, revisit: Revisit, dispatcher: User) -> None:
    hostile = "<img src=x onerror=alert(1)>"
    said = [["failed", {"said": hostile}]]
    Delivery.objects.update(recipient=hostile, steps=said, returned_why=said)
    Defect.objects.update(what=hostile, told=hostile, steps=said)
    Revisit.objects.update(
        note=hostile,
        why=["flag", {"sentence": hostile, "figures": {}}],
        state="confirmed",
        day=NOON.date() + timedelta(days=1),
    )
    for path in ("/", "/deliveries/", "/defects/", f"/buildings/{revisit.appliance.building_id}/revisits/"):
        assert "<img" not in text_of(browser(dispatcher), path), path
