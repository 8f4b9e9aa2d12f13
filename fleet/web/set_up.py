"""The first manager of an empty installation, and the place from which a manager sets up everything else."""

from allauth.account.internal.flows.login import record_authentication
from django import forms
from django.conf import settings
from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.http.request import split_domain_port
from django.shortcuts import redirect, render
from django.utils.translation import gettext_lazy as _
from django.views.decorators.cache import never_cache

from fleet import clock
from fleet.errors import FleetError
from fleet.models import Contractor
from fleet.presentation.codes import wrong_words
from fleet.services.contractor import begin_by_code
from fleet.tries import OF_ACCOUNT
from fleet.web.forms import WordsField
from fleet.web.guards import page
from fleet.web.middleware import network_of


@page("accounts")
def installation(request: HttpRequest) -> HttpResponse:
    return render(request, "installation.html", {"place": "installation"})


# ---- an empty installation ----


class BeginForm(forms.Form):
    code = WordsField(_("Code that the service printed when it started"), 40, required=True)
    contractor = WordsField(_("Contractor's name"), 200, required=True)
    numbers = WordsField(_("Numbers to call on a gas smell, by comma"), 300, required=True)
    name = WordsField(_("Your name"), 150, required=True)
    username = WordsField(_("User name"), 150, required=True)
    email = forms.EmailField(
        label=_("E-mail, for alerts and a forgotten password; may stay empty"), max_length=254, required=False
    )
    password = forms.CharField(
        label=_("Password, twelve characters or more"),
        max_length=4096,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def clean_numbers(self) -> list[str]:
        numbers = [each.strip() for each in self.cleaned_data["numbers"].split(",") if each.strip()]
        if not numbers:
            raise ValidationError(_("Give one number at least."))
        return numbers


@login_not_required
@never_cache
def set_up(request: HttpRequest) -> HttpResponse:
    """Whose installation this is, and its first manager, by the code that `serve` printed; nothing is here later."""
    if Contractor.objects.exists():
        raise Http404
    if not _stays_here(request):
        return render(request, "set_up.html", {"needs_https": True}, status=403)
    asked = BeginForm(request.POST if request.method == "POST" else None)
    if not asked.is_valid():
        return render(request, "set_up.html", {"form": asked}, status=400 if asked.is_bound else 200)
    return _begin(request, asked)


def _begin(request: HttpRequest, asked: BeginForm) -> HttpResponse:
    given, who = dict(asked.cleaned_data), f"set-up {network_of(request)}"
    OF_ACCOUNT.take(who)
    try:
        user = begin_by_code(**given, now=clock.now())
    except FleetError as refused:
        if "code" not in refused.errors:
            OF_ACCOUNT.give_back(who)
        for name, said in refused.errors.items():
            asked.add_error(name if name in asked.fields else None, wrong_words(said))
        return render(request, "set_up.html", {"form": asked}, status=refused.status)
    login(request, user, backend=settings.AUTHENTICATION_BACKENDS[0])
    record_authentication(request, user, method="password", reauthenticated=True)
    return redirect("mfa_activate_totp" if settings.MANAGERS_NEED_SECOND_FACTOR else "people")


def _stays_here(request: HttpRequest) -> bool:
    """Whether what is sent can be read by nobody on the way: https, or this machine alone."""
    host, _port = split_domain_port(request.get_host())
    is_here = request.META.get("REMOTE_ADDR") in ("127.0.0.1", "::1") and host in ("localhost", "127.0.0.1", "[::1]")
    return request.is_secure() or is_here
