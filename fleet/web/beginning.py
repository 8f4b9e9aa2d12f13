"""The beginning of an installation in the browser: contractor and first manager, by a code that `serve` prints."""

import hashlib
import secrets

from allauth.account.internal.flows.login import record_authentication
from django import forms
from django.contrib.auth import login
from django.core.cache import cache
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext_lazy as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from fleet import clock
from fleet.errors import FleetError
from fleet.models import Contractor
from fleet.services.contractor import begin_with_manager
from fleet.tries import OF_NETWORK
from fleet.web.forms import WordsField, put_beside
from fleet.web.guards import anybody
from fleet.web.middleware import network_of

LOOPBACK = ("127.0.0.1", "localhost", "::1")
LOOPBACK_NETWORKS = ("127.0.0.0/24", "::/64")
_SIGNS = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
_KEPT = "code-of-the-beginning"


def make_code() -> str:
    """The one code that begins; an earlier one opens nothing from now on. Only its hash is kept."""
    code = "".join(secrets.choice(_SIGNS) for _each in range(12))
    cache.set(_KEPT, _hash(code), None)
    return f"{code[:4]}-{code[4:8]}-{code[8:]}"


def _hash(code: str) -> str:
    return hashlib.sha256("".join(each for each in code.upper() if each in _SIGNS).encode()).hexdigest()


class BeginningForm(forms.Form):
    code = forms.CharField(label=_("The code that the service printed when it started"), max_length=40)
    contractor = WordsField(_("The contractor's name"), 200, needed=_("Give the contractor's name."))
    numbers = WordsField(_("Numbers to call on a gas smell, by comma"), 300)
    person = WordsField(_("Your full name"), 150, needed=_("Give your name."))
    email = forms.EmailField(
        label=_("Your e-mail address, for alerts and a forgotten password; may stay empty"),
        max_length=254,
        required=False,
    )
    username = WordsField(
        _("Your user name, without spaces"),
        150,
        needed=_("Give a user name."),
        widget=forms.TextInput(attrs={"autocomplete": "username"}),
    )
    password = forms.CharField(
        label=_("Your password, twelve characters or more"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )


@anybody("logging_in")
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def begin(request: HttpRequest) -> HttpResponse:
    """Open until an installation has begun; over https, or on the machine itself."""
    if Contractor.objects.exists():
        return redirect("account_login")
    host = request.get_host().rpartition(":")[0] or request.get_host()
    is_here = host.strip("[]") in LOOPBACK and network_of(request) in LOOPBACK_NETWORKS
    if not (is_here or request.is_secure()):
        raise PermissionDenied(_("This is begun over https, or in a browser on the machine on which the service runs."))
    form, refused = BeginningForm(request.POST if request.method == "POST" else None), None
    if form.is_valid() and _is_right(request, form):
        try:
            return _begun(request, form.cleaned_data)
        except FleetError as bad:
            refused = bad
            put_beside(form, bad, emergency_numbers="numbers")
    return render(request, "begin.html", {"form": form, "refused": refused}, status=refused.status if refused else 200)


def _is_right(request: HttpRequest, form: BeginningForm) -> bool:
    network = network_of(request)
    OF_NETWORK.take(network)
    if not secrets.compare_digest(_hash(form.cleaned_data["code"]), cache.get(_KEPT) or ""):
        form.add_error("code", _("This isn't the code that was printed last."))
        return False
    OF_NETWORK.give_back(network)
    return True


def _begun(request: HttpRequest, given: dict[str, str]) -> HttpResponse:
    """The manager is logged in, and sets up a second factor first."""
    user = begin_with_manager(
        contractor=given["contractor"],
        emergency_numbers=[each.strip() for each in given["numbers"].split(",") if each.strip()],
        username=given["username"],
        person=given["person"],
        password=given["password"],
        email=given["email"],
        now=clock.now(),
    )
    cache.delete(_KEPT)
    login(request, user, backend="django.contrib.auth.backends.ModelBackend")
    record_authentication(request, user, method="password", reauthenticated=True)
    return redirect("mfa_activate_totp")
