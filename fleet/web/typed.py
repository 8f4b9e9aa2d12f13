"""What somebody typed while their log-in had ended: given back once they have logged in, to be sent by them.

It goes with the form of the log-in, sealed: nobody who isn't logged in has anything written down here.
"""

import base64
import json
import re
import time
import zlib
from typing import Any

from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.html import format_html

from fleet.sessions import seal, unseal
from fleet.web.accounts import LONGEST_TYPED, LogInForm, may_have_passkeys
from fleet.web.guards import page

KEPT_S = 3600
LONGEST = 100_000
# A form in which one of these stands is not kept.
_SECRET = re.compile("password|secret|credential|^code$")


def typed_in(request: HttpRequest) -> str:
    """The fields of a form with where they were sent, sealed; empty where nothing may be kept, or it is too long."""
    fields = [(name, each) for name, typed in request.POST.lists() for each in typed if name != "csrfmiddlewaretoken"]
    if not fields or request.FILES or any(_SECRET.search(name) for name, _typed in fields):
        return ""
    said = json.dumps({"path": request.get_full_path(), "fields": fields, "at": time.time()})
    if len(said) > LONGEST:
        return ""
    sealed = seal(base64.b64encode(zlib.compress(said.encode())).decode())
    return sealed if len(sealed) <= LONGEST_TYPED else ""


def _given_back(sealed: str) -> dict[str, Any]:
    try:
        said: dict[str, Any] = json.loads(zlib.decompress(base64.b64decode(unseal(sealed))))
    except ValueError:
        return {}
    return said if time.time() - said["at"] < KEPT_S else {}


class LogInFirst(LoginRequiredMiddleware):
    def handle_no_permission(self, request: HttpRequest, view_func: Any) -> Any:
        sealed = typed_in(request) if request.method == "POST" else ""
        if not sealed:
            return super().handle_no_permission(request, view_func)
        carried = format_html(
            '<input type="hidden" name="next" value="{}"><input type="hidden" name="typed" value="{}">',
            reverse("typed"), sealed,
        )  # fmt: skip
        shown = {"form": LogInForm(request=request), "redirect_field": carried, "typed": True}
        return render(request, "log_in.html", shown | {"passkeys": may_have_passkeys(request)})


@page("log_ins")
def typed(request: HttpRequest) -> HttpResponse:
    """What was typed, in a form that sends it where it was to go."""
    said = _given_back(request.session.get("typed", ""))
    return render(request, "typed.html", said) if said else redirect("mfa_index")
