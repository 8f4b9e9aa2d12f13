"""Who may do what at every address of the service: one row a route, every cell called.

A route that stands in no row fails. To add one, write its row: which roles may use which methods, and what it is of
(`of` names one of `things` below; `bound` says that it belongs to a client and is not found for anybody else).
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import TOTP as SecondFactor
from django.db import transaction
from django.urls import URLPattern, URLResolver, get_resolver, resolve, reverse
from rest_framework.test import APIClient

from api.doors import Door
from api.shapes import RowOut
from fleet import clock
from fleet.models import (
    Analyser,
    Appliance,
    Building,
    Client,
    Correction,
    Defect,
    Delivery,
    Flag,
    FlueGroup,
    Forecast,
    GasSupply,
    Job,
    LimitSet,
    NoAccess,
    Person,
    Question,
    Revisit,
    Role,
    Tenancy,
    User,
    Visit,
)
from fleet.models.access import ACCESS, AUDITOR, EVERYBODY, FIELD, MANAGER, OFFICE, Whose, may_see
from fleet.models.records import content_of
from fleet.models.register import new_id
from fleet.services.access import create_token
from fleet.services.alerts import put_on_call
from fleet.services.calendars import make_address
from fleet.services.files import store_file
from fleet.services.limit_sets import assign_limit_set
from fleet.services.out_of_use import begin_out_of_use
from fleet.services.required_checks import add_required_check
from fleet.services.revisits import refresh_appliance
from fleet.services.visits import keep_unreadable
from fleet.services.webhooks import add_hook, allow_target
from tests import cast, pictures
from tests.reports.reading import words

ROOT = Path(__file__).parents[2]
METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")
# A statement is asked for by its query; {client} is the id of ours.
PERIOD = "?client={client}&begins=2026-01-01&ends=2026-12-31"
REFUSED = (401, 403, 404, 405)


@dataclass(frozen=True)
class Row:
    """kind: api (401 for nobody), page and act (nobody is sent to log in), again (as page; somebody logged in
    shows once more that it is them, whatever they send), home (as page; whom it isn't for is led to their own), open
    (for anybody), nothing (404)."""

    kind: str
    allowed: dict[str, frozenset[str]]
    of: str = ""
    bound: bool = False
    query: str = ""


def api(of: str = "", *, bound: bool = False, query: str = "", **allowed: frozenset[str]) -> Row:
    return Row("api", allowed, of, bound, query)


def page(of: str = "", *, bound: bool = False, query: str = "", **allowed: frozenset[str]) -> Row:
    return Row("page", allowed, of, bound, query)


def act(of: str, **allowed: frozenset[str]) -> Row:
    """A page's form of a client's thing: opened as a page it leads back to its place, whatever it is of."""
    return Row("act", {"GET": EVERYBODY, **allowed}, of, True)


def again(of: str = "") -> Row:
    return Row("again", dict.fromkeys(METHODS, EVERYBODY), of)


def anybody(*methods: str) -> Row:
    return Row("open", dict.fromkeys(methods, EVERYBODY))


TABLE: dict[str, Row] = {
    "account_login": anybody("GET", "POST", "PUT"),
    "account_logout": page(POST=EVERYBODY),
    "mfa_authenticate": anybody("GET", "POST"),
    "mfa_login_webauthn": anybody("GET", "POST", "PUT"),
    "account_reauthenticate": again(),
    "mfa_reauthenticate": again(),
    "mfa_reauthenticate_webauthn": again(),
    "mfa_activate_totp": again(),
    "mfa_deactivate_totp": again(),
    "mfa_view_recovery_codes": again(),
    "mfa_generate_recovery_codes": again(),
    "mfa_add_webauthn": again(),
    "mfa_edit_webauthn": again("passkey"),
    "mfa_remove_webauthn": again("passkey"),
    "new-password": Row("open", dict.fromkeys(METHODS, EVERYBODY), "password-link"),
    "forgotten": anybody("GET", "POST"),
    "mfa_index": page(GET=EVERYBODY, POST=EVERYBODY),
    "password": page(GET=EVERYBODY, POST=EVERYBODY, PUT=EVERYBODY),
    "typed": page(GET=EVERYBODY),
    "token-add": Row("act", {"GET": EVERYBODY, "POST": EVERYBODY}),
    "token-end": Row("act", {"GET": EVERYBODY, "POST": EVERYBODY}),
    "gas-smell": anybody("GET"),
    "co-alarm": anybody("GET"),
    "begin": anybody("GET", "POST"),
    "glossary": anybody("GET"),
    "api-unknown": Row("nothing", {}, of="unknown"),
    "attention": Row("home", {"GET": FIELD}),
    "flag-acknowledge": act("flag", POST=FIELD),
    "flag-close": act("flag", POST=OFFICE),
    "analysers": page(GET=EVERYBODY),
    "analyser": page("analyser", GET=EVERYBODY),
    "audit-trail": page(GET=MANAGER),
    "background-work": page(GET=MANAGER),
    "background-work-retry": Row("act", {"GET": EVERYBODY, "POST": MANAGER}, "job"),
    "background-work-cancel": Row("act", {"GET": EVERYBODY, "POST": MANAGER}, "job"),
    "buildings": page(GET=EVERYBODY),
    "register-csv": page(GET=EVERYBODY),
    "building": page("building", bound=True, GET=EVERYBODY),
    "building-gas": act("building", POST=OFFICE),
    "building-tenancies": act("building", POST=OFFICE),
    "tenancy-call-off": act("tenancy", POST=OFFICE),
    "appliance": page("appliance", bound=True, GET=EVERYBODY),
    "appliance-out-of-use": page("appliance", bound=True, GET=OFFICE, POST=OFFICE),
    "out-of-use-end": page("out-of-use", bound=True, GET=OFFICE, POST=OFFICE),
    "appliance-replace": page("appliance", bound=True, GET=OFFICE, POST=OFFICE),
    "appliance-convert": page("appliance", bound=True, GET=OFFICE, POST=OFFICE),
    "appliance-what-if": page("appliance", bound=True, GET=EVERYBODY),
    "visit": page("visit", bound=True, GET=EVERYBODY),
    "visit-paper": page("visit", bound=True, GET=EVERYBODY),
    "building-revisits": page("building", bound=True, GET=EVERYBODY),
    "building-no-access": act("building", POST=FIELD),
    "revisit-book": act("revisit", POST=OFFICE),
    "revisit-release": act("revisit", POST=OFFICE),
    "deliveries": page(GET=EVERYBODY),
    "delivery-send": act("delivery", POST=OFFICE),
    "delivery-fail": act("delivery", POST=OFFICE),
    "defects": page(GET=EVERYBODY),
    "defect-resolve": act("defect", POST=OFFICE),
    "planning-settings": page(GET=MANAGER, POST=MANAGER),
    "people": page(GET=EVERYBODY, POST=MANAGER),
    "person": page("account", bound=True, GET=MANAGER, POST=MANAGER),
    "person-qualifications": Row("act", {"GET": EVERYBODY, "POST": OFFICE}, "account"),
    "contractor": page(GET=MANAGER, POST=MANAGER),
    "installation": page(GET=MANAGER),
    "required-checks": page(GET=EVERYBODY),
    "sheets": page(GET=EVERYBODY),
    "sheet-new": page(GET=MANAGER, POST=MANAGER),
    "sheet-import": page(GET=MANAGER, POST=MANAGER),
    "sheet": page("sheet", GET=EVERYBODY),
    "sheet-edit": page("sheet", GET=MANAGER, POST=MANAGER),
    "sheet-copy": Row("act", {"GET": EVERYBODY, "POST": MANAGER}, "sheet"),
    "sheet-retire": Row("act", {"GET": EVERYBODY, "POST": MANAGER}, "sheet"),
    "limit-set": page("limit-set", GET=EVERYBODY),
    "limit-set-edit": page("limit-set", GET=MANAGER, POST=MANAGER),
    "limit-set-review": Row("act", {"GET": EVERYBODY, "POST": MANAGER}, "limit-set"),
    "limit-set-copy": Row("act", {"GET": EVERYBODY, "POST": MANAGER}, "limit-set"),
    "limit-set-retire": Row("act", {"GET": EVERYBODY, "POST": MANAGER}, "limit-set"),
    "records": page(GET=EVERYBODY),
    "record": page("record", bound=True, GET=EVERYBODY),
    "question-resolve": act("question", POST=OFFICE),
    "correction-end": act("correction", POST=OFFICE),
    "unreadable-resolve": act("unreadable-record", POST=OFFICE),
    "statements": page(bound=True, query=PERIOD, GET=OFFICE | AUDITOR),
    "statement-pdf": page(bound=True, query=PERIOD, GET=OFFICE | AUDITOR),
    "statement-csv": page(bound=True, query=PERIOD, GET=OFFICE | AUDITOR),
    "forecast-accuracy": page(GET=OFFICE | AUDITOR),
    "api-documentation": page(GET=EVERYBODY),
    "api-schema": api(GET=EVERYBODY),
    "api-clients": api(GET=EVERYBODY, POST=OFFICE),
    "api-client": api("client", bound=True, GET=EVERYBODY, PATCH=OFFICE),
    "api-buildings": api(GET=EVERYBODY, POST=OFFICE),
    "api-building": api("building", bound=True, GET=EVERYBODY, PATCH=OFFICE),
    "api-gas-supplies": api(GET=EVERYBODY, POST=OFFICE),
    "api-tenancies": api(GET=EVERYBODY, POST=OFFICE),
    "api-tenancy": api("tenancy", bound=True, GET=EVERYBODY, PATCH=OFFICE),
    "api-gas-supply": api("gas-supply", bound=True, GET=EVERYBODY, PATCH=OFFICE),
    "api-people": api(GET=EVERYBODY, POST=OFFICE),
    "api-person": api("person", GET=EVERYBODY, PATCH=OFFICE),
    "api-accounts": api(GET=MANAGER),
    "api-account": api("account", bound=True, GET=MANAGER, PATCH=MANAGER),
    "api-invite": api("account", bound=True, POST=MANAGER),
    "api-end-access": api("account", bound=True, POST=MANAGER),
    "api-let-back": api("account", bound=True, POST=MANAGER),
    "api-reset-log-in": api("account", bound=True, POST=MANAGER),
    "api-qualifications": api("person", GET=EVERYBODY, POST=OFFICE),
    "api-analysers": api(GET=EVERYBODY, POST=OFFICE),
    "api-analyser": api("analyser", GET=EVERYBODY, PATCH=OFFICE),
    "api-calibrations": api("analyser", GET=EVERYBODY, POST=OFFICE),
    "api-sheets": api(GET=EVERYBODY, POST=MANAGER),
    "api-sheet": api("sheet", GET=EVERYBODY, PATCH=MANAGER),
    "api-sheet-versions": api("sheet", GET=EVERYBODY, POST=MANAGER),
    "api-import-sheet": api(POST=MANAGER),
    "api-preview-sheet": api("sheet", POST=MANAGER),
    "api-compare-sheet": api("sheet", query="?from=1&to=1", GET=EVERYBODY),
    "api-copy-sheet": api("sheet", POST=MANAGER),
    "api-export-sheet": api("sheet", GET=EVERYBODY),
    "api-sheet-schema": api(GET=EVERYBODY),
    "api-flue-groups": api(GET=EVERYBODY, POST=OFFICE),
    "api-flue-group": api("flue-group", bound=True, GET=EVERYBODY, PATCH=OFFICE),
    "api-appliances": api(GET=EVERYBODY, POST=OFFICE),
    "api-appliance": api("appliance", bound=True, GET=EVERYBODY, PATCH=OFFICE),
    "api-history": api("appliance", bound=True, GET=EVERYBODY),
    "api-advice": api("appliance", bound=True, POST=FIELD),
    "api-card": api("appliance", bound=True, GET=EVERYBODY),
    "api-what-if": api("appliance", bound=True, GET=EVERYBODY),
    "api-building-what-if": api("building", bound=True, GET=EVERYBODY),
    "api-out-of-use": api("appliance", bound=True, GET=EVERYBODY, POST=OFFICE),
    "api-end-out-of-use": api("out-of-use", bound=True, POST=OFFICE),
    "api-gas-conversions": api("appliance", bound=True, GET=EVERYBODY, POST=OFFICE),
    "api-replacement": api("appliance", bound=True, POST=OFFICE),
    "api-limit-sets": api(GET=EVERYBODY, POST=MANAGER),
    "api-limit-set": api("limit-set", GET=EVERYBODY, PATCH=MANAGER),
    "api-limit-set-versions": api("limit-set", GET=EVERYBODY, POST=MANAGER),
    "api-limit-set-review": api("limit-set", POST=MANAGER),
    "api-import-limit-set": api(POST=MANAGER),
    "api-preview-limit-set": api("limit-set", POST=MANAGER),
    "api-compare-limit-set": api("limit-set", query="?from=1&to=1", GET=EVERYBODY),
    "api-copy-limit-set": api("limit-set", POST=MANAGER),
    "api-export-limit-set": api("limit-set", GET=EVERYBODY),
    "api-limit-set-schema": api(GET=EVERYBODY),
    "api-assignments": api(GET=EVERYBODY, POST=OFFICE),
    "api-assignment": api("assignment", bound=True, GET=EVERYBODY, PATCH=OFFICE),
    "api-stop-levels": api(GET=EVERYBODY, POST=MANAGER),
    "api-required-checks": api(GET=EVERYBODY, POST=OFFICE),
    "api-required-check": api("required_check", bound=True, GET=EVERYBODY, PATCH=OFFICE),
    "api-visits": api(GET=EVERYBODY, POST=FIELD),
    "api-visit": api("visit", bound=True, GET=EVERYBODY),
    "api-amendments": api("visit", bound=True, POST=OFFICE),
    "api-corrections": api(GET=EVERYBODY),
    "api-correction-confirm": api("correction", bound=True, POST=OFFICE),
    "api-correction-refuse": api("correction", bound=True, POST=OFFICE),
    "api-visit-paper": api("visit", bound=True, GET=EVERYBODY),
    "api-unreadable-records": api(GET=OFFICE),
    "api-unreadable-record": api("unreadable-record", bound=True, GET=OFFICE),
    "api-resolve-unreadable-record": api("unreadable-record", bound=True, POST=OFFICE),
    "api-questions": api(GET=EVERYBODY),
    "api-resolve-question": api("question", bound=True, POST=OFFICE),
    "api-defects": api(GET=EVERYBODY),
    "api-defect": api("defect", bound=True, GET=EVERYBODY),
    "api-resolve-defect": api("defect", bound=True, POST=OFFICE),
    "api-deliveries": api(GET=EVERYBODY),
    "api-delivery": api("delivery", bound=True, GET=EVERYBODY),
    "api-send-delivery": api("delivery", bound=True, POST=OFFICE),
    "api-fail-delivery": api("delivery", bound=True, POST=OFFICE),
    "api-records": api(GET=EVERYBODY),
    "api-record": api("record", bound=True, GET=EVERYBODY),
    "api-record-content": api("record", bound=True, GET=EVERYBODY),
    "api-attention": api(GET=FIELD),
    "api-flags": api(GET=EVERYBODY),
    "api-flag": api("flag", bound=True, GET=EVERYBODY),
    "api-acknowledge-flag": api("flag", bound=True, POST=FIELD),
    "api-close-flag": api("flag", bound=True, POST=FIELD),
    "api-forecasts": api(GET=EVERYBODY),
    "api-forecast": api("forecast", bound=True, GET=EVERYBODY),
    "api-forecast-accuracy": api(GET=OFFICE | AUDITOR),
    "api-revisits": api(GET=EVERYBODY),
    "api-revisit": api("revisit", bound=True, GET=EVERYBODY),
    "api-book-revisit": api("revisit", bound=True, POST=OFFICE),
    "api-release-revisit": api("revisit", bound=True, POST=OFFICE),
    "api-building-revisits": api("building", bound=True, GET=EVERYBODY),
    "api-retests": api(GET=EVERYBODY),
    "api-no-accesses": api(GET=EVERYBODY, POST=FIELD),
    "api-no-access": api("no-access", bound=True, GET=EVERYBODY),
    "api-no-access-files": api("no-access", bound=True, GET=EVERYBODY, POST=FIELD),
    "api-statements": api(bound=True, query=PERIOD, GET=OFFICE | AUDITOR),
    "api-contractor": api(GET=EVERYBODY, PATCH=MANAGER),
    "api-preview-planning-settings": api(POST=MANAGER),
    "api-audit-trail": api(GET=MANAGER),
    "api-background-jobs": api(GET=MANAGER),
    "api-background-job": api("job", GET=MANAGER),
    "api-retry-job": api("job", POST=MANAGER),
    "api-cancel-job": api("job", POST=MANAGER),
    "api-background-work-summary": api(GET=MANAGER),
    "alerts": page(GET=FIELD, POST=FIELD),
    "on-call-add": Row("act", {"GET": EVERYBODY, "POST": MANAGER}),
    "on-call-change": Row("act", {"GET": EVERYBODY, "POST": MANAGER}, "on-call"),
    "webhooks": page(GET=MANAGER, POST=MANAGER),
    "webhook": page("webhook", bound=True, GET=MANAGER, POST=MANAGER),
    "webhook-hosts": Row("act", {"GET": EVERYBODY, "POST": MANAGER}),
    "calendars": page(GET=FIELD, POST=FIELD),
    "calendar-change": act("calendar-link", POST=FIELD),
    "calendar-feed": Row("open", {"GET": EVERYBODY}, "calendar-secret"),
    "api-alert-settings": api(GET=FIELD, PATCH=FIELD),
    "api-on-call": api(GET=OFFICE, POST=MANAGER),
    "api-on-call-entry": api("on-call", GET=OFFICE, PATCH=MANAGER, DELETE=MANAGER),
    "api-alerts": api(GET=FIELD),
    "api-webhooks": api(GET=MANAGER, POST=MANAGER),
    "api-webhook": api("webhook", bound=True, GET=MANAGER, PATCH=MANAGER, DELETE=MANAGER),
    "api-webhook-secret": api("webhook", bound=True, POST=MANAGER),
    "api-webhook-trial": api("webhook", bound=True, POST=MANAGER),
    "api-webhook-attempts": api("webhook", bound=True, GET=MANAGER),
    "api-webhook-hosts": api(GET=MANAGER, POST=MANAGER),
    "api-webhook-host": api("webhook-host", bound=True, DELETE=MANAGER),
    "api-calendar-links": api(GET=FIELD, POST=FIELD),
    "api-calendar-link": api("calendar-link", bound=True, GET=FIELD),
    "api-renew-calendar": api("calendar-link", bound=True, POST=FIELD),
    "api-revoke-calendar": api("calendar-link", bound=True, POST=FIELD),
    "api-tokens": api(GET=EVERYBODY, POST=EVERYBODY),
    "api-token": api("token", DELETE=EVERYBODY),
    "api-visit-files": api("visit", bound=True, GET=EVERYBODY, POST=FIELD),
    "api-file": api("file", bound=True, GET=EVERYBODY),
    "api-file-content": api("file", bound=True, GET=EVERYBODY),
}


def routes(patterns: list[URLPattern | URLResolver] | None = None) -> Iterator[URLPattern]:
    for each in get_resolver().url_patterns if patterns is None else patterns:
        if isinstance(each, URLResolver):
            yield from routes(each.url_patterns)
        else:
            yield each


def subject_of(route: URLPattern) -> str | None:
    """Its row of the table of rights."""
    view: Any = route.callback
    return getattr(view, "subject", None) or getattr(getattr(view, "view_class", None), "subject", None)


@pytest.fixture
def things(
    body: dict[str, Any],
    boiler: Appliance,
    analyser: Analyser,
    people: dict[str, User | None],
    manager: User,
    technician: User,
    settings: Any,
    tmp_path: Path,
) -> dict[str, str]:
    """One of each, of our client: the arguments of the addresses that name one."""
    settings.MEDIA_ROOT = tmp_path
    body["readings"][0]["analyser"] = "borrowed"
    visit = cast.store(body, technician)
    limit_set = LimitSet.objects.earliest("id")
    place = {"limit_set": limit_set, "appliance": boiler, "since": "2025-01-01", "why": "local law"}
    assignment = assign_limit_set(values=place, actor=manager, now=cast.NOON)
    rule = {"type": "max_months", "months": 12}
    terms = {"appliance": boiler, "name": "Yearly", "source": "contract", "rule": rule, "why": "clause 4",
             "since": boiler.in_service_from}  # fmt: skip
    refresh_appliance(appliance=boiler, now=cast.NOON)
    flag = Flag.objects.create(appliance=boiler, kind=Flag.Kind.OUTSIDE, key="k", sentence="O2 is outside.",
                               opened_at=cast.NOON, updated_at=cast.NOON)  # fmt: skip
    file, _made = store_file(visit=visit, name="data_plate", media_type="image/png", data=pictures.png(),
                             what="data_plate", actor=technician, now=cast.NOON)  # fmt: skip
    made = {
        "client": boiler.building.client, "building": boiler.building, "appliance": boiler, "sheet": boiler.sheet,
        "person": technician.person, "account": technician.person,
        "analyser": analyser, "limit-set": limit_set, "assignment": assignment,
        "visit": visit, "record": visit.record, "flag": flag, "job": Job.objects.latest("id"),
        "flue-group": FlueGroup.objects.create(building=boiler.building, name="Chimney"),
        "required_check": add_required_check(values=terms, actor=manager, now=cast.NOON),
        "unreadable-record": keep_unreadable(body=b"{", errors={}, unsafe=None, actor=manager, now=cast.NOON),
        "question": Question.objects.earliest("id"), "forecast": Forecast.objects.earliest("id"),
        "file": file,
        "out-of-use": begin_out_of_use(appliance=boiler, content={"begins": "2026-03-01", "why": "w", "said_by": "s"},
                                       actor=manager, now=cast.NOON, id=new_id()),
        "gas-supply": GasSupply.objects.create(building=boiler.building, since="2026-01-01", fuel="natural_gas_20_h2",
                                               source="the network"),
        "tenancy": Tenancy.objects.create(building=boiler.building, begins="2026-04-01", source="the agent"),
    } | followed_up(visit, limit_set, technician)  # fmt: skip
    for user in filter(None, people.values()):
        SecondFactor.activate(user, "JBSWY3DPEHPK3PXP")
        RecoveryCodes.activate(user)
    told = told_elsewhere(boiler.building.client, manager, technician)
    return {name: str(thing.id) for name, thing in made.items()} | told


def followed_up(visit: Visit, limit_set: LimitSet, by: User) -> dict[str, Any]:
    """What follows from a visit: a defect, a delivery, a revisit, an attempt at the next one."""
    day, appliance = visit.local_date, visit.appliance
    window = {
        "earliest": day,
        "latest": day,
        "date_set_by": "required_check",
        "why": ["flag", {"sentence": "Yearly.", "figures": {}}],
        "made_at": cast.NOON,
    }
    sending = {"recipient": "client", "due": day, "steps": [["as_recorded", {}]], "opened_at": cast.NOON}
    attempt = {"at": cast.NOON, "local_date": day, "kind": "nobody_in", "by": by, "recorded_at": cast.NOON}
    return {
        "defect": Defect.objects.create(id=new_id(), visit=visit, appliance=appliance, what="seal", severity="repair"),
        "delivery": Delivery.objects.create(visit=visit, limit_set=limit_set, **sending),
        "revisit": Revisit.objects.update_or_create(appliance=appliance, defaults=window)[0],
        "no-access": NoAccess.objects.create(appliance=appliance, **attempt),
        "correction": Correction.objects.create(
            visit=visit,
            content=content_of(visit.record) | {"note": "typed twice"},
            submitted_sha256="0" * 64,
            reason="typed twice",
            takes_back=["unsafe"],
            of_version=1,
            made_by=by,
            made_at=cast.NOON,
        ),
    }


def told_elsewhere(client: Client, manager: User, technician: User) -> dict[str, str]:
    """A place on the list of who is on call, a client's webhook, a host that it may reach, a technician's calendar."""
    on_call = put_on_call(values={"user": manager, "after_minutes": 0}, now=cast.NOON)
    target = {"name": "office", "url": "https://office.example/in", "kinds": ["flag_opened"], "client": client}
    hook, _secret = add_hook(values=target, actor=manager, now=cast.NOON)
    host = allow_target(host="office.internal", why="ours", actor=manager, now=cast.NOON)
    address, secret = make_address(user=technician, client=None, actor=manager, now=cast.NOON)
    return {"on-call": str(on_call.id), "webhook": str(hook.id), "webhook-host": str(host.id),
            "calendar-link": str(address.id), "calendar-secret": secret}  # fmt: skip


@pytest.fixture
def people(outsider: User, technician: User, dispatcher: User, manager: User, auditor: User) -> dict[str, User | None]:
    """Everybody who may come, by name; `outsider` is a technician who is given no client."""
    return {"nobody": None, "outsider": outsider, "technician": technician, "dispatcher": dispatcher,
            "manager": manager, "auditor": auditor}  # fmt: skip


@pytest.fixture
def strangers(client_of_ours: Client) -> list[User]:
    """Everybody again, of another client."""
    elsewhere = Client.objects.create(name="Mill Trust")
    users = [cast.make_user(f"{role} elsewhere", role, sees_all_clients=False) for role in cast.ROLES]
    for user in users:
        user.clients.add(elsewhere)
    return users


class Caller:
    """Calls addresses as one user and undoes what came of it."""

    def __init__(self, user: User | None) -> None:
        self.user = user
        self.client = APIClient(raise_request_exception=False)
        if user is not None:
            self.client.force_login(user)
        self.cookies = self.client.cookies.output(header="", sep=";")

    def call(self, row: Row, method: str, path: str, said: Any = None, look: Callable[[], Any] = lambda: None) -> Any:
        """said : the form or body that is sent. look : what is asked before it is undone, kept as `seen`."""
        self.client.cookies.clear()
        self.client.cookies.load(self.cookies)
        send = getattr(self.client, method.lower())
        body = {} if method == "GET" else {"data": said or {}, "format": "json" if row.kind == "api" else "multipart"}
        with transaction.atomic():
            response = send(path, **body)
            response.seen = look()
            transaction.set_rollback(True)
        return response

    def path(self, name: str, row: Row, things: dict[str, str]) -> str:
        if row.of == "unknown":
            return "/api/v2/nothing"
        if row.of == "password-link":
            return reverse(name, args=["MQ", "used-already"])
        if row.of == "passkey":
            return reverse(name, args=[1])
        if row.of == "token":
            return reverse(name, args=[self._token()])
        return reverse(name, args=[things[row.of]] if row.of else []) + row.query.format(**things)

    def _token(self) -> str:
        if self.user is None:
            return "flt_0"
        token, _secret = create_token(
            user=self.user, actor=self.user, now=clock.now(), name="own", scope="read", days=1
        )
        return token.token_key


def is_let_in(response: Any) -> bool:
    """Neither refused nor sent to log in and come back; whoever is to show once more that it is them may do it then."""
    sent_away = response.status_code == 302 and response["Location"].startswith("/log-in/?next=")
    is_refused = response.status_code in REFUSED and b'"code":"log_in_again"' not in response.content
    return response.status_code < 500 and not is_refused and not sent_away


def fault(row: Row, method: str, user: User | None, response: Any) -> str:
    """What is wrong with an answer to somebody who may see the thing; empty where it is as the table says."""
    status, known = response.status_code, method in row.allowed
    if row.kind == "nothing":
        return "" if status == 404 else f"{status}, expected 404"
    if (
        known
        and row.kind != "again"
        and (row.kind == "open" or (user is not None and user.role in row.allowed[method]))
    ):
        return "" if is_let_in(response) else f"{status}, expected to be let in"
    if row.kind == "again" and user is not None:
        return "" if status in (200, 302, 405) else f"{status}, expected to be asked once more"
    if row.kind == "open":
        # Whoever is logged in is led on from the log-in page, whatever they send it.
        return "" if status in (302, 405) else f"{status}, expected 405"
    if user is None:
        sent_away = status == 401 if row.kind == "api" else status == 302
        return "" if sent_away and not is_let_in(response) else f"{status}, expected to be asked to log in"
    if row.kind == "home" and method == "GET":
        return "" if status == 302 and is_let_in(response) else f"{status}, expected to be led elsewhere"
    return "" if status in (403, 405) else f"{status}, expected 403 or 405"


def test_every_route_stands_in_the_table() -> None:
    named = [each.name for each in routes()]
    assert None not in named
    assert len(set(named)) == len(named)
    assert set(named) == set(TABLE)


def test_each_address_of_the_api_names_its_row_of_the_table_of_roles() -> None:
    views = [each.callback.view_class for each in routes() if hasattr(each.callback, "view_class")]
    doors = [each for each in views if issubclass(each, Door)]
    assert len(doors) > 100
    assert {each.__name__ for each in doors if each.subject not in ACCESS} == set()


def test_each_row_of_the_table_of_roles_is_asked_for() -> None:
    rooms = (
        path
        for room in ("api", "fleet")
        for path in (ROOT / room).rglob("*.py")
        if path.parts[-2:] != ("models", "access.py")
    )
    said = "\n".join(path.read_text() for path in rooms)
    assert [subject for subject in ACCESS if f'"{subject}"' not in said] == []


def test_the_groups_of_roles_are_whom_their_names_say() -> None:
    assert set(Role.values) == EVERYBODY
    assert {Role.DISPATCHER, Role.MANAGER} == OFFICE
    assert EVERYBODY - {Role.AUDITOR} == FIELD


def said_in(answer: Any) -> str:
    if answer.get("Content-Type") == "application/pdf":
        return words(answer.content)
    return (b"".join(answer.streaming_content) if answer.streaming else answer.content).decode("latin-1")


def kept_back() -> dict[tuple[str, str], str]:
    """By address and field, of those that only some see of whoever may open it, the row that says who."""
    shapes = {
        str(each.name): getattr(getattr(each.callback, "view_class", None), "shape_out", None) for each in routes()
    }
    shown = {name: shape for name, shape in shapes.items() if shape and issubclass(shape, RowOut)}
    return {(name, field): row for name, shape in shown.items() for field, row in shape.kept_back().items()}


class Shown:
    """Which fields each role is shown at each address, and where somebody's phone or e-mail address stood."""

    phone, email = "0000 canary 42", "canary@heating.example"

    def __init__(self) -> None:
        self.fields: dict[str, dict[str, set[str]]] = {}
        self.told: set[str] = set()

    def note(self, name: str, user: User, answer: Any) -> None:
        if answer.status_code == 200 and answer.get("Content-Type") == "application/json":
            data = answer.json()
            rows = data.get("results", [data]) if isinstance(data, dict) else data
            fields = {key for row in rows if isinstance(row, dict) for key in row}
            if fields:  # an empty list says nothing
                self.fields.setdefault(name, {})[user.role] = fields
        if not may_see(user, "contact_details") and {self.phone, self.email} & set(CONTACT.findall(said_in(answer))):
            self.told.add(name)

    def differs(self) -> set[tuple[str, str]]:
        """What not all are shown who may open the address."""
        return {
            (name, field)
            for name, by_role in self.fields.items()
            for field in set().union(*by_role.values())
            if not all(field in fields for fields in by_role.values())
        }


CONTACT = re.compile(rf"{Shown.phone}|{re.escape(Shown.email)}")


def test_every_cell_answers_as_the_table_says_and_shows_each_field_to_whom_it_says(
    things: dict[str, str], people: dict[str, User | None], technician: User
) -> None:
    wrong, shown = {}, Shown()
    Person.objects.filter(user=technician).update(phone=Shown.phone, email=Shown.email)
    User.objects.filter(pk=technician.pk).update(email=Shown.email)
    Client.objects.update(contact=Shown.email)
    Building.objects.update(access_notes=Shown.phone)
    for who, user in people.items():
        caller = Caller(user)
        for name, row in TABLE.items():
            path = caller.path(name, row, things)
            for method in METHODS:
                if who == "outsider" and row.bound and method in row.allowed:
                    continue  # what is not there for somebody has its own test below
                response = caller.call(row, method, path)
                if said := fault(row, method, user, response):
                    wrong[f"{method} {name} as {who}"] = said
                if method == "GET" and user and who != "outsider":
                    shown.note(name, user, response)
    assert wrong == {}
    assert shown.told == set()
    assert len(shown.fields) > 60
    kept = kept_back()
    assert shown.differs() == kept.keys() and len(kept) > 20
    for (name, field), right in kept.items():
        sees = {role for role, fields in shown.fields[name].items() if field in fields}
        assert sees == ACCESS[right].see


def test_what_belongs_to_another_client_is_not_found(
    things: dict[str, str], strangers: list[User], outsider: User
) -> None:
    wrong = {}
    # What is the installation's they are kept from before anything is looked for.
    known = {each.name: ACCESS.get(str(subject_of(each))) for each in routes()}
    kept_from = {name for name, access in known.items() if access and access.whose is Whose.INSTALLATION}
    for user in (*strangers, outsider):
        caller = Caller(user)
        for name, row in TABLE.items():
            for method in (each for each in METHODS if row.bound and user.role in row.allowed.get(each, ())):
                if (row.kind, method) == ("act", "GET"):
                    continue
                status = caller.call(row, method, caller.path(name, row, things)).status_code
                if status != (403 if name in kept_from else 404):
                    wrong[f"{method} {name} as {user.username}"] = status
    assert wrong == {}


def test_addresses_of_the_table_lead_where_their_names_say(things: dict[str, str]) -> None:
    nobody = Caller(None)
    led = {name: resolve(nobody.path(name, row, things).split("?")[0]).url_name for name, row in TABLE.items()}
    assert {name: to for name, to in led.items() if name != to} == {}
