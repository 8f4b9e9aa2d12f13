"""The pages about being told: one's own choices, the list, who was told, webhooks, calendars, and the feed."""

import re
from datetime import date, timedelta

import pytest
from django.core.cache import caches
from django.test import Client as Browser
from django.utils import timezone
from icalendar import Calendar
from pytest_django.fixtures import Settings

from fleet import tasks
from fleet.models import (
    AlertSettings,
    Analyser,
    Appliance,
    CalendarLink,
    Client,
    HookDelivery,
    Job,
    OnCall,
    Person,
    Revisit,
    User,
    Webhook,
)
from fleet.services.alerts import put_on_call
from tests.cast import NOON
from tests.web.markup import main_of, words_of
from tests.web.opened import browser_of, checked, has_shown, opened, queries_of, sent
from tests.web.world import called_unsafe


@pytest.fixture(autouse=True)
def at_noon(settings: Settings) -> None:
    settings.CLOCK_OFFSET = NOON - timezone.now()
    caches["process"].clear()


# ---- one's own, and the list ----


def test_without_an_address_one_is_told_nothing_and_that_is_said(dispatcher: User) -> None:
    assert "You get no alerts: there is no e-mail address of yours here." in words_of(opened(dispatcher, "/alerts/"))


def test_choices_are_kept_and_another_address_after_the_password(dispatcher: User, settings: Settings) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    dispatcher.set_password("a long password for tests")
    dispatcher.save()
    browser = browser_of(dispatcher)
    values = {"version": 1, "email": "d@heating.example", "daily_summary": "on", "hour": 6, "time_zone": "Asia/Tokyo"}
    asked = browser.post("/alerts/", values)
    assert asked["Location"] == "/log-in/again/?next=%2Falerts%2F"
    assert "where their link for a new password goes" in checked(browser.get(asked["Location"]))
    assert browser.post(asked["Location"], {"password": "a wrong one"}).status_code == 200
    assert not User.objects.get(id=dispatcher.id).email
    assert browser.post(asked["Location"], {"password": "a long password for tests"})["Location"] == "/alerts/"
    choice = AlertSettings.objects.select_related("user").get()
    assert (choice.user.email, choice.hour, choice.time_zone) == ("d@heating.example", 6, "Asia/Tokyo")
    assert "comes once a day from 6:00 on" in words_of(opened(dispatcher, "/alerts/"))
    sent(dispatcher, "/alerts/", version=2, email="d@heating.example", hour=6)
    assert "you have no daily summary" in words_of(opened(dispatcher, "/alerts/"))


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [("email", "nobody", "Your e-mail address is &#x27;nobody&#x27;; it must be an e-mail address"),
     ("hour", "24", "From this hour of the day on is 24; it must be at most 23."),
     ("time_zone", "Nowhere/Land", "<b>Of the day in</b>")],
)  # fmt: skip
def test_what_can_not_be_is_said_and_kept_in_the_field(dispatcher: User, field: str, value: str, said: str) -> None:
    values = {"version": 1, "email": "", "hour": 6, "time_zone": ""} | {field: value}
    answer = sent(dispatcher, "/alerts/", **values)
    assert answer.status_code == 400
    page = checked(answer)
    assert said in page and f'value="{value}"' in page


def test_the_manager_makes_the_list_and_the_dispatcher_reads_it(manager: User, dispatcher: User) -> None:
    put = browser_of(manager).post("/alerts/on-call/", {"user": dispatcher.id, "after_minutes": 10})
    assert put.status_code == 302
    entry = OnCall.objects.get()
    page = words_of(opened(dispatcher, "/alerts/"))
    assert "dispatcher, dispatcher can't be alerted: has no e-mail address here 10" in page
    assert "Take off the list" not in page
    sent(manager, f"/alerts/on-call/{entry.id}/", version=1, after_minutes=20, act="change")
    entry.refresh_from_db()
    assert entry.after_minutes == 20
    assert sent(manager, f"/alerts/on-call/{entry.id}/", version=1, after_minutes=20, act="remove").status_code == 409
    sent(manager, f"/alerts/on-call/{entry.id}/", version=2, after_minutes=20, act="remove")
    assert not OnCall.objects.exists()


def test_a_technician_sees_no_list_and_no_summary(technician: User, dispatcher: User) -> None:
    put_on_call(values={"user": dispatcher, "after_minutes": 0}, now=NOON)
    page = main_of(opened(technician, "/alerts/"))
    assert "On call" not in page and "daily summary of what is new" not in page


def test_stop_level_says_who_was_told_and_who_is_next(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, dispatcher: User
) -> None:
    User.objects.filter(id=dispatcher.id).update(email="d@heating.example")
    called_unsafe(boiler, person, analyser, technician)
    page = words_of(opened(dispatcher, "/"))
    assert "Nobody could be alerted" not in page
    for kind in ("alert_on_flag", "send_alert"):
        tasks.run_job(Job.objects.filter(kind=kind, state="waiting").earliest("due_at").id)
    page = words_of(opened(dispatcher, "/"))
    assert re.search(r"Alerted: dispatcher by e-mail, 2 March 2026, 12:00\. Next, unless somebody answers before: "
                     r"dispatcher, 2 March 2026,? 12:15", page), page  # fmt: skip


def test_stop_level_that_nobody_can_be_told_about_says_so(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, dispatcher: User
) -> None:
    called_unsafe(boiler, person, analyser, technician)
    assert "Nobody could be alerted: nobody who may see it has an e-mail address here." in words_of(
        opened(dispatcher, "/")
    )


# ---- webhooks ----

NEW_HOOK = {"name": "office", "url": "https://office.example/in", "kinds": ["flag_opened"], "client": ""}


def test_a_hook_is_made_with_its_secret_shown_once(manager: User) -> None:
    assert "No other program is alerted of anything" in opened(manager, "/webhooks/")
    answer = browser_of(manager).post("/webhooks/", NEW_HOOK, follow=True)
    assert answer["Cache-Control"] == "no-store" and answer.redirect_chain
    secret = re.search(r"<b>([0-9a-f]{64})</b>", checked(answer))
    hook = Webhook.objects.get()
    assert secret and not hook.is_on
    assert secret[1] not in opened(manager, f"/webhooks/{hook.id}/")


def test_a_target_that_can_not_be_is_refused_in_words(manager: User) -> None:
    answer = sent(manager, "/webhooks/", **NEW_HOOK | {"url": "https://127.0.0.1/in"})
    assert answer.status_code == 400
    assert "127.0.0.1 is a private address; a manager must allow it by name first" in words_of(checked(answer))
    assert 'value="https://127.0.0.1/in"' in answer.content.decode()


def test_a_hook_is_switched_tried_changed_and_removed(manager: User) -> None:
    sent(manager, "/webhooks/", **NEW_HOOK)
    hook = Webhook.objects.get()
    path = f"/webhooks/{hook.id}/"
    for act, version in (("on", 1), ("trial", 2), ("renew", 2), ("off", 3)):
        assert sent(manager, path, version=version, act=act).status_code in (200, 302)
    assert "trial" in words_of(opened(manager, path))
    sent(manager, path, version=4, act="change", name="works", url="https://works.example/", kinds=["visit_recorded"])
    hook.refresh_from_db()
    assert (hook.name, hook.kinds, hook.version) == ("works", ["visit_recorded"], 5)
    assert sent(manager, path, version=4, act="on").status_code == 409
    sent(manager, path, version=5, act="remove")
    assert opened(manager, path, 404)


def test_what_was_sent_stands_with_status_time_and_size(manager: User) -> None:
    sent(manager, "/webhooks/", **NEW_HOOK)
    hook = Webhook.objects.get()
    values = {"hook": hook, "kind": "flag_opened", "body": "{}", "made_at": NOON, "tries": 2}
    HookDelivery.objects.create(event="a", sent_at=NOON, status=204, took_ms=81, answer_bytes=0, **values)
    HookDelivery.objects.create(
        event="b", failure=["answered", {"status": 503}], status=503, took_ms=12, answer_bytes=3, **values
    )
    page = words_of(opened(manager, f"/webhooks/{hook.id}/"))
    assert "2 204 81 0" in page and "not yet : answered 503 2 503 12 3" in page
    assert "One event waits." in page


def test_private_hosts_are_named_with_their_reason_and_refused_again(manager: User) -> None:
    sent(manager, "/webhooks/hosts/", host="10.1.2.3", why="our own office")
    page = opened(manager, "/webhooks/")
    assert "our own office" in page
    (chosen,) = re.findall(r'name="remove" value="([0-9a-f-]+)"', page)
    sent(manager, "/webhooks/hosts/", remove=chosen)
    assert "our own office" not in opened(manager, "/webhooks/")


# ---- calendars ----


def made_address(user: User, whose: str) -> str:
    """The address that the page shows this once."""
    answer = has_shown(browser_of(user)).post("/calendars/", {"whose": whose}, follow=True)
    assert answer["Cache-Control"] == "no-store" and answer.redirect_chain == [("/calendars/", 302)]
    found = re.search(r"/calendar/[A-Za-z0-9_-]{43}\.ics", checked(answer))
    assert found
    return found[0]


@pytest.fixture
def revisit(boiler: Appliance) -> Revisit:
    return Revisit.objects.create(
        appliance=boiler, earliest=date(2026, 6, 1), latest=date(2026, 7, 15), date_set_by="required_check",
        why=["flag", {"sentence": "Yearly.", "figures": {}}],
        made_at=NOON,
    )  # fmt: skip


def test_a_calendar_is_read_without_logging_in(revisit: Revisit, client_of_ours: Client, dispatcher: User) -> None:
    path = made_address(dispatcher, f"client {client_of_ours.id}")
    assert path not in opened(dispatcher, "/calendars/")
    answer = Browser().get(path)
    assert (answer.status_code, answer["Content-Type"]) == (200, "text/calendar; charset=utf-8")
    assert answer["Cache-Control"] == "private, max-age=900"
    (event,) = Calendar.from_ical(answer.content).events
    assert event["UID"] == f"revisit-{revisit.id}" and event["STATUS"] == "TENTATIVE"
    assert "sessionid" not in answer.cookies and not answer.cookies


def test_the_etag_saves_sending_it_again(revisit: Revisit, client_of_ours: Client, dispatcher: User) -> None:
    path = made_address(dispatcher, f"client {client_of_ours.id}")
    first = Browser().get(path)
    again = Browser().get(path, headers={"If-None-Match": first["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    Revisit.objects.update(latest=date(2026, 7, 20))
    changed = Browser().get(path, headers={"If-None-Match": first["ETag"]})
    assert changed.status_code == 200
    assert Calendar.from_ical(changed.content).events[0]["SEQUENCE"] == 1


def test_what_opens_nothing_is_not_found_after_the_same_look_up(
    client_of_ours: Client, dispatcher: User, django_assert_num_queries: object, caplog: pytest.LogCaptureFixture
) -> None:
    path = made_address(dispatcher, f"client {client_of_ours.id}")
    address = CalendarLink.objects.get()
    sent(dispatcher, f"/calendars/{address.id}/", version=1, act="revoke")
    bodies = set()
    for tried in (path, path[:-6] + "xx.ics", "/calendar/x.ics", "/calendar/%F0%9F%94%A5.ics"):
        with django_assert_num_queries(1):  # type: ignore[operator]
            answer = Browser().get(tried)
        assert answer.status_code == 404
        bodies.add(answer.content)
    assert len(bodies) == 1
    assert path.split("/")[2][:20] not in caplog.text


def test_renewing_shows_another_address_and_closes_the_one_before(client_of_ours: Client, dispatcher: User) -> None:
    path = made_address(dispatcher, f"client {client_of_ours.id}")
    address = CalendarLink.objects.get()
    renewing = f"/calendars/{address.id}/", {"version": 1, "act": "renew"}
    assert browser_of(dispatcher).post(*renewing)["Location"].startswith("/log-in/again/")
    page = checked(has_shown(browser_of(dispatcher)).post(*renewing, follow=True))
    after = re.search(r"/calendar/[A-Za-z0-9_-]{43}\.ics", page)
    assert after and after[0] != path
    assert [Browser().get(each).status_code for each in (path, after[0])] == [404, 200]


def test_too_often_is_refused_with_when_to_come_again(client_of_ours: Client, dispatcher: User) -> None:
    path = made_address(dispatcher, f"client {client_of_ours.id}")
    browser = Browser()
    codes = [browser.get(path).status_code for _time in range(61)]
    assert codes == [200] * 60 + [429]
    assert browser.get(path)["Retry-After"] == "900"


def test_a_technician_makes_their_own_only(technician: User, dispatcher: User, client_of_ours: Client) -> None:
    made_address(technician, f"user {technician.id}")
    for whose in (f"user {dispatcher.id}", f"client {client_of_ours.id}", "user " + "0" * 36):
        assert sent(technician, "/calendars/", whose=whose).status_code == 404
    assert sent(technician, "/calendars/", whose="everybody").status_code == 400


@pytest.mark.parametrize("path", ["/alerts/", "/webhooks/", "/calendars/"])
def test_a_longer_list_takes_no_more_queries(path: str, manager: User, client_of_ours: Client) -> None:
    def one_more(number: int) -> None:
        someone = User.objects.create(username=f"d{number}", role="dispatcher", sees_all_clients=True)
        put_on_call(values={"user": someone, "after_minutes": 0}, now=NOON)
        Webhook.objects.create(name=f"h{number}", url="https://a.example", client=client_of_ours, made_by=manager,
                               made_at=NOON, failing_since=NOON - timedelta(days=1))  # fmt: skip
        CalendarLink.objects.create(client=client_of_ours, made_by=someone, made_at=NOON, secret_sha256=str(number))

    one_more(1)
    first = queries_of(manager, path)
    for number in (2, 3):
        one_more(number)
    assert queries_of(manager, path) == first
