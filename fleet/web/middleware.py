"""Before any page: whose session it is, whether it may go on without a second factor, and what is refused unread.

A session cookie that can't be one of ours is no session. A request leaves its method and path in the log: a query may
hold a person's name, and who uses what is nobody's log. The address of a calendar and a link for a new password are
secrets, and are left out.
"""

import ipaddress
import math
import re
from collections.abc import Callable, Container
from functools import lru_cache
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.contrib.sessions.middleware import SessionMiddleware
from django.core.exceptions import RequestDataTooBig
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect
from django.template.loader import render_to_string
from django.utils.encoding import escape_uri_path
from django.utils.translation import ngettext
from django_structlog.middlewares import RequestMiddleware
from django_structlog.signals import bind_extra_request_metadata

from api.errors import as_response
from fleet import clock
from fleet.logs import without_secrets
from fleet.models import ApiToken, AuditEntry, Role, User
from fleet.models.access import ACCESS, Whose
from fleet.queries.access import lacks_second_factor
from fleet.services.audit import asking_network, note, note_view_refused
from fleet.sessions import SessionStore
from fleet.tries import OF_NETWORK, TooMany, busy_s, hold_up, working

Answer = Callable[[HttpRequest], HttpResponse]

CODES_ARE_ASKED_FOR = ("/log-in/code/", "/log-in/again/code/")
# What a query asks of whom, and of which days. Each part is bounded as it is kept.
_NAMING = frozenset({
    *("client", "building", "appliance", "person", "technician", "user", "analyser", "visit", "sheet", "limit_set"),
    *("begins", "ends", "day", "from", "to", "as", "which", "kind", "name", "within", "after", "before"),
})  # fmt: skip
_MOST_OF_NAME, _MOST_OF_VALUE, _MOST_OF_ADDRESS, _MOST_OF_PATH = 30, 60, 300, 1000
_KEY = re.compile(r"[a-z0-9]{8,64}")
_BROWSERS = {"Edg": "Edge", "OPR": "Opera", "Firefox": "Firefox", "Chrome": "Chrome", "Safari": "Safari"}
_SYSTEMS = {"Android": "Android", "iPhone": "iPhone", "iPad": "iPad", "Windows": "Windows", "Mac OS": "macOS",
            "Linux": "Linux"}  # fmt: skip


def network_of(request: HttpRequest) -> str:
    """The caller's network, a /24 or an IPv6 /64; by as many proxies as are believed."""
    given, proxies = request.META.get("REMOTE_ADDR", ""), settings.TRUSTED_PROXIES
    passed = request.META.get("HTTP_X_FORWARDED_FOR", "").split(",")
    if proxies and len(passed) >= proxies:
        given = passed[-proxies].strip()
    try:
        address = ipaddress.ip_address(given)
    except ValueError:
        return "unknown"
    mapped = getattr(address, "ipv4_mapped", None)
    address = mapped or address
    return str(ipaddress.ip_network(f"{address}/{24 if address.version == 4 else 64}", strict=False))


def browser_of(request: HttpRequest) -> str:
    """In a few words: "Firefox on Linux"; empty where it says nothing that we know."""
    said = request.META.get("HTTP_USER_AGENT", "")
    known = (next((name for part, name in parts.items() if part in said), "") for parts in (_BROWSERS, _SYSTEMS))
    return " on ".join(each for each in known if each)


def _length(request: HttpRequest) -> int:
    given = request.META.get("CONTENT_LENGTH") or "0"
    return int(given) if given.isdigit() else 0


def refused(too_many: TooMany, path: str = "/log-in/") -> HttpResponse:
    """path : where it may be tried again."""
    answer = HttpResponse(_refusal(wait_words(too_many.wait_s), path), status=429)
    answer["Retry-After"] = str(too_many.wait_s)
    answer["Cache-Control"] = "no-store"
    answer._has_been_logged = True  # type: ignore[attr-defined]  # Django's own mark: a flood is no flood of lines
    return answer


def wait_words(wait_s: int) -> str:
    if wait_s < 60:
        return ngettext("%d second", "%d seconds", wait_s) % wait_s
    minutes = math.ceil(wait_s / 60)
    return ngettext("%d minute", "%d minutes", minutes) % minutes


@lru_cache(maxsize=256)
def _refusal(wait: str, path: str) -> str:
    return render_to_string("429.html", {"wait": wait, "path": path, "asks_for_code": path in CODES_ARE_ASKED_FOR})


class Asked(QueryDict):
    """A query that knows which of its parameters were read: what a page has no use for, it didn't show."""

    def __init__(self, *given: Any, **kwargs: Any) -> None:
        self.read: set[str] = set()
        super().__init__(*given, **kwargs)

    def __getitem__(self, name: str) -> Any:
        self.read.add(name)
        return super().__getitem__(name)

    def getlist(self, name: str, default: Any = None) -> Any:
        self.read.add(name)
        return super().getlist(name, default)


_ID = re.compile("[0-9a-f]{8}-[0-9a-f]{4}-")


def asked_for(request: HttpRequest, only: Container[str] | None = None) -> str:
    """Address and query for the trail, in at most a thousand characters: first what names whose and of when, as it
    counts, however much else is asked. only : of the parameters these, of what was shown by them."""
    named = [each for each in request.GET.items() if only is None or each[0] in only]
    given = sorted(named, key=lambda each: each[0] not in _NAMING)
    query = urlencode([(name[:_MOST_OF_NAME], value[:_MOST_OF_VALUE]) for name, value in given], safe="@:/")
    address = without_secrets(escape_uri_path(request.path))[:_MOST_OF_ADDRESS]
    return f"{address}?{without_secrets(query)}"[:_MOST_OF_PATH] if query else address


def _is_of_others(request: HttpRequest) -> bool:
    """Not of one's own log-in, of what everybody reads, or of nothing that there is."""
    view: Any = getattr(request.resolver_match, "func", None)
    of = getattr(view, "subject", "") or getattr(getattr(view, "cls", None), "subject", "")
    return of in ACCESS and of != "documentation" and ACCESS[of].whose not in (Whose.OWN, Whose.ANYBODY)


class Private:
    """What holds data is kept by no cache; what an auditor looks at or is refused, and what anybody takes out as a
    file, stands on the audit trail, whose entries say from which network."""

    files = ("application/pdf", "text/csv", "application/zip")

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        before = asking_network.set(network_of(request))
        try:
            return self.answered(request)
        finally:
            asking_network.reset(before)

    def answered(self, request: HttpRequest) -> HttpResponse:
        asked = Asked(request.GET.urlencode(), encoding=request.encoding)
        request.GET = asked  # type: ignore[assignment]
        answer = self.get_response(request)
        request.read = frozenset(asked.read)  # type: ignore[attr-defined]  # before the trail reads them all
        answer.headers.setdefault("Cache-Control", "private, no-store")
        user = getattr(request, "user", None)
        if isinstance(user, User):
            self.note(user, request, answer)
        return answer

    def note(self, user: User, request: HttpRequest, answer: HttpResponse) -> None:
        token = getattr(request, "auth", None)
        by = {"user": user, "now": clock.now(), "token": token.name if isinstance(token, ApiToken) else ""}
        is_file = answer.get("Content-Disposition", "").startswith("attachment")
        is_file = is_file or answer.get("Content-Type", "").split(";")[0] in self.files
        is_audited = user.role == Role.AUDITOR and _is_of_others(request)
        if answer.status_code == 200 and is_file:
            note(kind=AuditEntry.Kind.EXPORTED, path=asked_for(request), **by)
        elif answer.status_code == 200 and is_audited and request.method in ("GET", "POST"):
            note(kind=AuditEntry.Kind.VIEWED, path=asked_for(request, request.read), **by)  # type: ignore[attr-defined]
        elif answer.status_code in (400, 403, 404) and is_audited:
            path, method = asked_for(request), request.method or ""
            is_named = method not in ("GET", "HEAD") or _ID.search(path) is not None
            if is_named or answer.status_code != 400:
                note_view_refused(path=path, method=method, status=answer.status_code, is_named=is_named, **by)


class Tries:
    """What is tried too often, or is longer than any form, is refused before it costs anything."""

    # In bytes: a page shows again what was typed. Sheets and limit sets are long, and bounded field by field.
    longest_form = 50_000
    longer = frozenset({"sheet-new", "sheet-edit", "sheet-import", "limit-set-edit"})

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        is_try = request.method == "POST" and request.path == "/log-in/"
        if is_try and (wait := OF_NETWORK.wait_s(network_of(request)) or busy_s()):
            answer = refused(TooMany(wait))
        else:
            with working:
                answer = self.get_response(request)
        if answer.status_code == 429:
            hold_up()
        return answer

    def process_view(self, request: HttpRequest, _view: Any, _args: Any, _kwargs: Any) -> None:
        match = request.resolver_match
        is_form = request.method == "POST" and not request.path.startswith("/api/")
        if is_form and match and match.url_name not in self.longer and _length(request) > self.longest_form:
            raise RequestDataTooBig("A form was longer than any is.")

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        return refused(exception, request.path) if isinstance(exception, TooMany) else None


class Sessions(SessionMiddleware):
    """Strange text in the cookie, such as a NUL, never reaches the database."""

    def process_request(self, request: HttpRequest) -> None:
        given = request.COOKIES.get(settings.SESSION_COOKIE_NAME)
        if given is not None and not _KEY.fullmatch(given):
            del request.COOKIES[settings.SESSION_COOKIE_NAME]
        super().process_request(request)
        if isinstance(request.session, SessionStore):
            request.session.network, request.session.browser = network_of(request), browser_of(request)

    def process_response(self, request: HttpRequest, response: Any) -> Any:
        if isinstance(request.session, SessionStore):
            request.session.note_seen()
        return super().process_response(request, response)


class SecondFactor:
    """A manager goes nowhere without one, outside the demonstration."""

    # Where somebody gets one, or leaves.
    open_to_all = frozenset({"mfa_activate_totp", "account_reauthenticate", "account_logout"})

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: Any, _args: Any, _kwargs: Any) -> HttpResponse | None:
        match, is_api = request.resolver_match, request.path.startswith("/api/")
        is_open = match is not None and match.url_name in self.open_to_all
        if is_open or not (is_api or getattr(view, "login_required", True)) or not self.is_missing(request):
            return None
        if is_api:
            return as_response(403, "second_factor_needed", "Set up your second factor on the pages first.")
        return redirect("mfa_activate_totp")

    def is_missing(self, request: HttpRequest) -> bool:
        """Looked up once a session: nobody can take off the last one, and whose are taken off is logged out."""
        user = request.user
        if not isinstance(user, User) or user.role != Role.MANAGER:
            return False
        if not request.session.get("second_factor"):
            if lacks_second_factor(user):
                return True
            request.session["second_factor"] = True
        return False


class RequestLog(RequestMiddleware):
    @staticmethod
    def format_request(request: HttpRequest) -> str:
        return f"{request.method} {without_secrets(request.path)}"


@receiver(bind_extra_request_metadata, sender=RequestLog)
def _leave_out_the_browser(log_kwargs: dict[str, Any], **_given: Any) -> None:
    log_kwargs.pop("user_agent", None)
