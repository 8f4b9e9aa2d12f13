"""What pages are made of: forms, long lists, previews, guards, filters, and what a strange request gets."""

import uuid
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from django import forms
from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.template import Context, Template
from django.test import RequestFactory
from hypothesis import given
from hypothesis import strategies as st
from pytest_django.fixtures import Settings

from api.documentation import PROBLEMS
from fleet.errors import FleetError, Forbidden, NotFound
from fleet.models import Client, Role, User
from fleet.models.access import ACCESS
from fleet.web import faults, pages, previews
from fleet.web.forms import ActForm, PeriodForm, WordedActForm, chosen_client, chosen_days, chosen_id, taken
from fleet.web.guards import act, form, page
from fleet.web.middleware import RequestLog, Sessions, browser_of, network_of
from fleet.web.pages import page_of
from fleet.web.places import place_of, places_of

ID = uuid.UUID("0198c2a4-7c00-7d3e-8f10-2b5a6c7d8e9f")


def refusal(asked: forms.Form) -> str:
    with pytest.raises(FleetError) as refused:
        taken(asked)
    assert refused.value.code == "invalid"
    return refused.value.message


# ---- forms ----


def test_an_act_takes_its_version_and_cleaned_words() -> None:
    assert taken(ActForm({"version": "3", "words": " seen\u202e \x00"})) == {"version": 3, "words": "seen"}
    assert taken(ActForm({"version": "1"})) == {"version": 1, "words": ""}


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({}, "Version is missing; it must be given."),
        ({"version": "0"}, "Version is 0; it must be at least 1."),
        ({"version": "two"}, "Version is 'two'; it must be a whole number."),
        ({"version": "1", "words": "x" * 501}, "Words has 501 characters; it may have at most 500."),
    ],
)
def test_a_refusal_names_the_label_what_was_given_and_what_is_allowed(sent: dict[str, str], said: str) -> None:
    assert refusal(ActForm(sent)) == said


def test_a_reason_that_is_only_blanks_is_none_and_is_asked_for_in_its_own_words() -> None:
    for words in ("", "  ", "\u200b\x00"):
        assert refusal(WordedActForm({"version": "1", "words": words})) == "Say why, in a few words."


def test_the_same_fault_of_two_fields_is_told_once() -> None:
    said = refusal(PeriodForm({"begins": "1899-12-31", "ends": "2201-01-01"}))
    assert said == "Give a day of the years 1900 to 2200."
    assert "From this day is 'soon'; it must be a day such as 2026-03-02." in refusal(
        PeriodForm({"begins": "soon", "ends": "2026-01-01"})
    )


def test_an_id_out_of_an_address_is_one_or_nothing_is_found() -> None:
    assert chosen_id(QueryDict(f"client={ID}"), "client") == ID
    assert chosen_id(QueryDict("client="), "client") is chosen_id(QueryDict(""), "client") is None
    with pytest.raises(NotFound):
        chosen_id(QueryDict("client=7"), "client")


def test_a_client_is_chosen_among_those_that_are_seen() -> None:
    ours, theirs = Client(id=ID, name="Weir Trust"), Client(name="Mill Trust")
    assert chosen_client(QueryDict(f"client={ID}"), [theirs, ours]) is ours
    assert chosen_client(QueryDict(""), [ours]) is None
    with pytest.raises(NotFound):
        chosen_client(QueryDict(f"client={ID}"), [theirs])


@pytest.mark.parametrize(
    ("given_days", "days"), [("30", 30), ("90", 90), ("31", 60), ("", 60), ("030", 60), ("٣٠", 60), ("30 ", 60)]
)
def test_only_the_days_that_are_offered_are_taken(given_days: str, days: int) -> None:
    assert chosen_days(QueryDict(f"days={given_days}"), "days", (30, 60, 90), 60) == days


# ---- long lists ----


@pytest.fixture
def clients(db: None, monkeypatch: pytest.MonkeyPatch) -> list[Client]:
    """Seven, of three names, three to a page."""
    monkeypatch.setattr(pages, "PAGE_ROWS", 3)
    return [Client.objects.create(name=name, contact=str(n)) for n, name in enumerate("BABCABA")]


@pytest.mark.parametrize("newest_first", [False, True])
@pytest.mark.parametrize("by", ["", "name"])
def test_pages_hold_every_row_once_in_order_though_names_repeat(
    clients: list[Client], by: str, newest_first: bool
) -> None:
    expected = sorted(clients, key=lambda each: (getattr(each, by) if by else "", each.id), reverse=newest_first)
    seen, query, sizes = [], "contact=all", []
    while query:
        shown = page_of(Client.objects.all(), QueryDict(query), by=by, newest_first=newest_first)
        seen += shown.rows
        sizes.append(len(shown.rows))
        assert not shown.following or QueryDict(shown.following)["contact"] == "all"
        query = shown.following
    assert seen == expected
    assert sizes == [3, 3, 1]


def test_a_page_after_a_row_that_is_not_seen_begins_at_the_beginning(clients: list[Client]) -> None:
    rows = Client.objects.exclude(id=clients[2].id)
    shown = page_of(rows, QueryDict(f"after={clients[2].id}"))
    assert shown.rows == [clients[0], clients[1], clients[3]]
    assert page_of(Client.objects.none(), QueryDict("")).is_empty
    with pytest.raises(NotFound):
        page_of(rows, QueryDict("after=last"))


def test_a_full_last_page_promises_no_further_one(clients: list[Client]) -> None:
    shown = page_of(Client.objects.filter(name__in="BC"), QueryDict(f"after={clients[0].id}"))
    assert (len(shown.rows), shown.following) == (3, "")


# ---- previews ----


@dataclass
class Changed:
    """As much of a preview as its page counts."""

    changed: list[Any]
    differences: list[str] = field(default_factory=lambda: ["a"])


def test_more_than_a_page_of_changes_is_cut_and_says_by_how_many() -> None:
    some = [SimpleNamespace(verdicts=[]) for _n in range(previews.MOST_SHOWN + 7)]
    for changed, hidden in ((some, 7), (some[: previews.MOST_SHOWN], 0), ([], 0)):
        shown = previews.Shown(Changed(changed), "", ID)  # type: ignore[arg-type]
        assert (len(shown.rows), shown.not_shown) == (len(changed) - hidden, hidden)
    assert shown.may_record and not previews.Shown(Changed([], []), "", ID).may_record  # type: ignore[arg-type]


def test_a_content_is_known_again_however_its_fields_are_ordered_and_no_other_is() -> None:
    content = {"rated_input_kw": "60", "rates": ["high"]}
    assert previews.digest_of(content) == previews.digest_of({"rates": ["high"], "rated_input_kw": "60"})
    assert previews.digest_of(content) != previews.digest_of(content | {"rated_input_kw": "60.0"})


@pytest.mark.parametrize(
    ("sent", "number"), [("3", 3), ("", 0), ("-1", 0), ("three", 0), ("³", 0), ("123456789", 0), ("00000007", 7)]
)
def test_a_page_that_does_not_say_what_it_was_made_from_is_made_from_nothing(sent: str, number: int) -> None:
    assert previews.number_based_on(QueryDict(f"based_on={sent}")) == number


# ---- who may, and what a refusal looks like ----


def asked(method: str, role: str) -> HttpRequest:
    request = RequestFactory().generic(method, "/x/")
    request.user = User(role=role, sees_all_clients=True)
    return request


SEES, CHANGES = ACCESS["sheets"].see, ACCESS["sheets"].change


@pytest.mark.parametrize("role", Role.values)
@pytest.mark.parametrize("method", ["GET", "HEAD", "POST", "PUT", "DELETE", "PATCH"])
def test_guards_let_in_by_role_and_method_alone(role: str, method: str) -> None:
    def view(_request: HttpRequest) -> HttpResponse:
        return HttpResponse("in")

    may = {
        page("sheets"): method in ("GET", "HEAD") and role in SEES,
        form("sheets"): method in ("GET", "HEAD", "POST") and role in CHANGES,
    }
    for guard, is_in in may.items():
        if is_in:
            assert guard(view)(asked(method, role)).content == b"in"
        else:
            with pytest.raises(PermissionDenied):
                guard(view)(asked(method, role))


def test_an_act_opened_as_a_page_leads_to_its_place_and_is_posted_by_those_who_may() -> None:
    acted = act("sheets", place="sheets")(lambda _request: HttpResponse("done"))
    for role in Role.values:
        assert (acted(asked("GET", role)).status_code, acted(asked("GET", role))["Location"]) == (302, "/sheets/")
        if role in CHANGES:
            assert acted(asked("POST", role)).content == b"done"
        else:
            with pytest.raises(PermissionDenied):
                acted(asked("POST", role))


@pytest.mark.parametrize(
    ("raised", "becomes"), [(NotFound("not_found", "x"), Http404), (Forbidden("not_qualified", "x"), PermissionDenied)]
)
def test_what_a_service_refuses_becomes_a_page(raised: FleetError, becomes: type[Exception]) -> None:
    def view(_request: HttpRequest) -> HttpResponse:
        raise raised

    with pytest.raises(becomes):
        page("sheets")(view)(asked("GET", Role.MANAGER))


def test_every_role_has_its_places_and_an_unknown_one_has_none() -> None:
    for role in Role.values:
        names = [each.name for each in places_of(role)]
        assert len(names) == len(set(names)) > 0
        assert all(place_of(role, name, "elsewhere") == name for name in names)
    assert places_of("king") == ()
    assert place_of(Role.TECHNICIAN, "statements", "records") == "records"


def test_a_fault_of_ours_has_the_doors_shape_under_the_api_and_a_documented_code() -> None:
    refused = faults.server_fault(RequestFactory().get("/api/v1/clients"))
    assert (refused.status_code, refused["Content-Type"]) == (500, "application/problem+json")
    unread = faults.not_understood(RequestFactory().get("/api/v1/clients"), ValueError("a secret"))
    assert b"secret" not in unread.content
    for each in (refused, unread):
        code = each.content.split(b'"code": "')[1].split(b'"')[0].decode()
        assert code in PROBLEMS
    assert faults.server_fault(RequestFactory().get("/buildings/"))["Content-Type"].startswith("text/html")


@pytest.mark.parametrize(
    ("key", "kept"),
    [("a1b2c3d4e5f6g7h8", True), ("abc", False), ("A" * 32, False), ("x" * 65, False), ("a" * 31 + "\x00", False)],
)
def test_a_cookie_that_can_be_no_session_of_ours_is_no_session(key: str, kept: bool) -> None:
    request = HttpRequest()
    request.COOKIES = {settings.SESSION_COOKIE_NAME: key, "other": key}
    seen: list[dict[str, str]] = []
    Sessions(lambda each: seen.append(dict(each.COOKIES)) or HttpResponse())(request)
    assert (settings.SESSION_COOKIE_NAME in seen[0]) == kept
    assert seen[0]["other"] == key


@pytest.mark.parametrize(
    ("proxies", "address", "passed_on", "network"),
    [
        (0, "192.0.2.77", "", "192.0.2.0/24"),
        (0, "192.0.2.77", "198.51.100.9", "192.0.2.0/24"),
        (1, "127.0.0.1", "203.0.113.1, 198.51.100.9", "198.51.100.0/24"),
        (2, "127.0.0.1", "203.0.113.1, 198.51.100.9", "203.0.113.0/24"),
        (2, "127.0.0.1", "198.51.100.9", "127.0.0.0/24"),
        (0, "2001:db8:1:2:3::4", "", "2001:db8:1:2::/64"),
        (0, "::ffff:192.0.2.77", "", "192.0.2.0/24"),
        (1, "127.0.0.1", "nonsense", "unknown"),
        (0, "", "", "unknown"),
    ],
)
def test_a_network_is_the_caller_s_by_the_proxies_that_are_believed(
    settings: Settings, proxies: int, address: str, passed_on: str, network: str
) -> None:
    settings.TRUSTED_PROXIES = proxies
    request = RequestFactory().get("/", REMOTE_ADDR=address, HTTP_X_FORWARDED_FOR=passed_on)
    assert network_of(request) == network


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ("Mozilla/5.0 (Windows NT 10.0) AppleWebKit/537.36 Chrome/140.0 Safari/537.36 Edg/140.0", "Edge on Windows"),
        ("Mozilla/5.0 (iPhone; CPU iPhone OS 18_0 like Mac OS X) Version/18.0 Safari/604.1", "Safari on iPhone"),
        ("Mozilla/5.0 (Linux; Android 15) AppleWebKit/537.36 Chrome/140.0 Safari/537.36", "Chrome on Android"),
        ("curl/8.0", ""),
        ("", ""),
    ],
)
def test_a_browser_is_told_in_a_few_words(said: str, words: str) -> None:
    assert browser_of(RequestFactory().get("/", HTTP_USER_AGENT=said)) == words


def test_no_secret_and_no_query_reaches_the_log() -> None:
    assert RequestLog.format_request(RequestFactory().get("/calendar/THE-SECRET.ics?x=1")) == "GET /calendar/..."
    assert RequestLog.format_request(RequestFactory().post("/records/?name=Ada")) == "POST /records/"
    assert RequestLog.format_request(RequestFactory().get("/new-password/MQ/SECRET/")) == "GET /new-password/..."


# ---- filters of templates ----


def shown_as(source: str, **values: Any) -> str:
    return Template(source).render(Context(values))


@pytest.mark.parametrize(
    ("source", "value", "shown"),
    [
        ("{{ x|figure:2 }}", 9.3, "9.30"),
        ("{{ x|figure }}", -3.0, "−3"),
        ("{{ x|figure:1 }}", None, ""),
        ("{{ x|day }}", date(2024, 6, 3), "3 Jun 2024"),
        ("{{ x|long_day }}", date(2024, 12, 3), "3 December 2024"),
        ("{{ x|weekday }}", date(2024, 12, 3), "Tuesday 3 December 2024"),
        ("{{ x|day }}{{ x|long_day }}{{ x|weekday }}", None, ""),
        ("{{ x|moment:'Europe/Lisbon' }}", None, ""),
        ("{{ x|hash_groups }}", "0123456789abcdef", "0123 4567 89ab"),
        ("{{ x|words }}", "as_found", "as found"),
        ("{{ x|words }}", "<b>", "&lt;b&gt;"),
        ("{{ x|in_words }}", 3, "three"),
    ],
)
def test_filters_say_what_their_names_say_and_nothing_of_nothing(source: str, value: Any, shown: str) -> None:
    assert shown_as(source, x=value) == shown


@pytest.mark.parametrize(
    ("moment", "told"),
    [
        (datetime(2026, 3, 29, 0, 30, tzinfo=UTC), "29 March 2026, 00:30"),
        (datetime(2026, 3, 29, 1, 30, tzinfo=UTC), "29 March 2026, 02:30"),
        (datetime(2026, 10, 25, 0, 30, tzinfo=UTC), "25 October 2026, 01:30 UTC+1"),
        (datetime(2026, 10, 25, 1, 30, tzinfo=UTC), "25 October 2026, 01:30 UTC+0"),
        (datetime(2026, 12, 31, 23, 59, tzinfo=UTC), "31 December 2026, 23:59"),
    ],
)
def test_a_moment_is_told_by_the_clocks_of_its_place(moment: datetime, told: str) -> None:
    """Lisbon: forward at 1 o'clock UTC on 29 March, back at 1 o'clock UTC on 25 October 2026."""
    assert shown_as("{{ x|moment:'Europe/Lisbon' }}", x=moment) == told


@given(st.dates(date(1900, 1, 1), date(2200, 12, 31)))
def test_the_weekday_is_the_calendars(day: date) -> None:
    """By counting from Monday 1 January 1900 (the proleptic Gregorian calendar repeats each 146 097 days)."""
    names = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
    counted = names[(day - date(1900, 1, 1)) // timedelta(days=1) % 7]
    assert shown_as("{{ x|weekday }}", x=day).split() == [counted, str(day.day), f"{day:%B}", str(day.year)]


def test_the_head_shows_the_places_of_whoever_is_logged_in_and_where_they_are() -> None:
    request = RequestFactory().get("/")
    request.user = User(role=Role.AUDITOR)
    html = Template("{% places %}").render(Context({"request": request, "place": "records"}))
    assert html.count("<a ") == len(places_of(Role.AUDITOR))
    assert html.count("aria-current") == 1
    assert "aria-current" not in Template("{% places %}").render(Context({}))
