"""Logging in and out, second factors and one's own account; and the page for a gas smell, which asks nobody to log in.

The flows of log-in and second factors are allauth's; words, looks and what is allowed are ours.
"""

import base64
import secrets
import time
import uuid
from collections.abc import Callable
from typing import Any

import segno
from allauth.account.adapter import DefaultAccountAdapter
from allauth.account.forms import LoginForm
from allauth.account.internal.flows.login import get_authentication_records, record_authentication
from allauth.account.internal.stagekit import clear_login, unstash_login
from allauth.account.views import LoginView, ReauthenticateView
from allauth.core import context
from allauth.core.internal.cryptokit import normalize_user_code
from allauth.mfa.adapter import DefaultMFAAdapter
from allauth.mfa.adapter import get_adapter as second_factors
from allauth.mfa.app_settings import TOTP_DIGITS
from allauth.mfa.base.forms import AuthenticateForm, ReauthenticateForm
from allauth.mfa.base.views import AuthenticateView
from allauth.mfa.base.views import ReauthenticateView as CodeAgainView
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.views import GenerateRecoveryCodesView, ViewRecoveryCodesView
from allauth.mfa.signals import authentication_failed, authenticator_added, authenticator_removed, authenticator_reset
from allauth.mfa.totp.forms import ActivateTOTPForm
from allauth.mfa.totp.internal.auth import SECRET_SESSION_KEY
from allauth.mfa.totp.views import ActivateTOTPView, DeactivateTOTPView
from allauth.mfa.webauthn.forms import EditWebAuthnForm
from allauth.mfa.webauthn.views import (
    AddWebAuthnView,
    EditWebAuthnView,
    LoginWebAuthnView,
    ReauthenticateWebAuthnView,
    RemoveWebAuthnView,
)
from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import authenticate
from django.contrib.auth import forms as passwords
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.password_validation import validate_password
from django.contrib.auth.signals import user_logged_in, user_logged_out, user_login_failed
from django.contrib.auth.views import LogoutView, PasswordChangeView, PasswordResetConfirmView
from django.core.exceptions import ValidationError
from django.core.validators import validate_ipv46_address
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render, resolve_url
from django.urls import path, reverse, reverse_lazy
from django.utils.html import format_html
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from fleet import clock
from fleet.assess.refusals import password_fault
from fleet.errors import FleetError
from fleet.models import ApiToken, AuditEntry, Contractor, User
from fleet.models.access import changes_anything
from fleet.presentation.addresses import password_links
from fleet.presentation.alerts import has_mail
from fleet.presentation.codes import allowed_words
from fleet.queries.access import (
    SECOND_FACTORS,
    has_second_factor,
    log_ins_of,
    needs_second_factor,
    tokens_of,
    visible_clients,
    visible_tokens,
)
from fleet.queries.audit import has_come_from
from fleet.queries.people import is_sole_manager
from fleet.services.access import (
    MOST_DAYS,
    ask_for_password_link,
    create_token,
    end_log_in,
    end_other_log_ins,
    revoke_token,
    set_password,
)
from fleet.services.audit import note, note_change, note_refused
from fleet.sessions import row_key, seal, unseal
from fleet.tries import (
    OF_ACCOUNT,
    OF_ALL_CODES,
    OF_CODES,
    OF_LINKS,
    OF_NETWORK,
    OF_PASSKEYS,
    OF_STRANGERS,
    Allowance,
    give_back_all,
    take_all,
)
from fleet.web.forms import WordsField, put_beside, taken
from fleet.web.guards import act, anybody, ask_who_it_is, form, shown_next, shown_now, viewer_of
from fleet.web.middleware import network_of
from fleet.web.places import places_of

Tries = list[tuple[Allowance, str]]


def _tries_of(request: HttpRequest, name: str) -> Tries:
    """What a password costs. Where strangers have used up theirs, whence its owner came costs none."""
    network, account = network_of(request), name.casefold()
    tries = [(OF_ACCOUNT, f"{account} {network}"), (OF_NETWORK, network)]
    if OF_STRANGERS.wait_s(account):
        owner = User.objects.filter(username=name).first()
        if owner and has_come_from(owner, network):
            return tries
    return [(OF_STRANGERS, account), *tries]


def _codes_of(request: HttpRequest, user: Any) -> Tries:
    """What a code costs: the app's are counted apart from recovery codes and passkeys, which open where those are used
    up. Neither kind is read as the other: they differ in length."""
    is_app_s = len(normalize_user_code(request.POST.get("code", ""))) == TOTP_DIGITS
    whose = f"{'app' if is_app_s else 'recovery'} {user.pk}"
    return [(OF_CODES, f"{whose} {network_of(request)}"), (OF_ALL_CODES, whose)]


# ---- what allauth asks us ----


class Accounts(DefaultAccountAdapter):
    error_messages = DefaultAccountAdapter.error_messages | {
        "username_password_mismatch": gettext_lazy("This user name and this password are not correct together.")
    }

    def authenticate(self, request: HttpRequest, **credentials: Any) -> User | None:
        """Who this is; a try is taken from the account's and the network's before anything is hashed, and given back
        where it was right. Raises TooMany."""
        taken = _tries_of(request, credentials.get("username", ""))
        take_all(taken)
        user, was_wrong = None, False
        try:
            user = authenticate(request, **credentials)
            was_wrong = user is None
        finally:  # neither right nor unread is a wrong try
            if not was_wrong:
                give_back_all(taken)
        return user if isinstance(user, User) else None

    def post_login(self, request: HttpRequest, user: Any, **said: Any) -> HttpResponse:
        """Whoever has just logged in has shown who it is, and isn't asked for it again at once."""
        for last in get_authentication_records(request, user)[-1:]:
            record_authentication(request, user, method=last["method"], reauthenticated=True)
        return super().post_login(request, user, **said)

    def get_login_redirect_url(self, request: HttpRequest) -> str:
        """The first place of the role, where no page was asked for."""
        places = places_of(viewer_of(request).role)
        return resolve_url(places[0].name if places else settings.LOGIN_REDIRECT_URL)

    def get_reauthentication_methods(self, user: Any) -> list[dict[str, Any]]:
        """A passkey where there may be one; said in our words."""
        words = {
            "reauthenticate": _("With your password"),
            "mfa_reauthenticate": _("With a code"),
            "mfa_reauthenticate:webauthn": _("With a passkey"),
        }
        known = super().get_reauthentication_methods(user)
        return [each | {"description": words[each["id"]]} for each in known if each["id"] in words]


class SecondFactors(DefaultMFAAdapter):
    error_messages = DefaultMFAAdapter.error_messages | {
        "cannot_delete_authenticator": gettext_lazy("A manager keeps one second factor: set up another one first."),
        "incorrect_code": gettext_lazy("This code isn't right, or was used already."),
    }

    def encrypt(self, text: str) -> str:
        return seal(text)

    def decrypt(self, encrypted_text: str) -> str:
        """What another key sealed fits no code: the installation's key was changed."""
        try:
            return unseal(encrypted_text)
        except ValueError:
            return base64.b32encode(secrets.token_bytes(20)).decode()

    def get_totp_issuer(self) -> str:
        contractor = Contractor.objects.filter(id=1).first()
        return contractor.name if contractor else _("Combustion tests")

    def _get_user_identifier(self, user: Any) -> str:
        return str(user.get_username())

    def _get_site_name(self) -> str:
        return self.get_totp_issuer()

    def build_totp_svg(self, url: str) -> str:
        drawn = segno.make(url, error="m").svg_inline(scale=5, light="#fff", title=_("The key as a code to scan"))
        return mark_safe(drawn.replace("<svg", '<svg role="img"', 1))  # segno draws nothing but the code's squares

    def can_delete_authenticator(self, authenticator: Authenticator) -> bool:
        others = Authenticator.objects.filter(user_id=authenticator.user_id, type__in=SECOND_FACTORS)
        return not needs_second_factor(authenticator.user) or others.exclude(pk=authenticator.pk).exists()

    def generate_authenticator_name(self, user: Any, type: Authenticator.Type) -> str:
        return _("Passkey %d") % (Authenticator.objects.filter(user_id=user.pk, type=type).count() + 1)


def may_have_passkeys(request: HttpRequest) -> bool:
    """A passkey belongs to a name; browsers offer them over https, and on this machine by the name localhost."""
    host = request.get_host().rpartition(":")[0] or request.get_host()
    try:
        validate_ipv46_address(host.strip("[]"))
    except ValidationError:
        return request.is_secure() or host == "localhost"
    return False


# ---- in and out ----


# Of which password a log-in is that waits for its code.
HALF = "half_a_log_in"


# Of what was typed while a log-in had ended (`fleet/web/typed.py`), sealed.
LONGEST_TYPED = 30_000


def _keep_typed(request: HttpRequest) -> None:
    if 0 < len(typed := request.POST.get("typed", "")) <= LONGEST_TYPED:
        request.session["typed"] = typed


class LogInForm(LoginForm):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["login"].label = _("User name")
        self.fields["login"].widget.attrs["autofocus"] = True


class LogIn(LoginView):
    template_name = "log_in.html"
    form_class = LogInForm

    def get(self, request: HttpRequest, *args: Any, **given: Any) -> HttpResponse:
        if not Contractor.objects.exists():
            return redirect("begin")
        return super().get(request, *args, **given)

    def form_valid(self, form: LogInForm) -> HttpResponse:
        answer = super().form_valid(form)
        if not self.request.user.is_authenticated:
            self.request.session[HALF] = form.user.get_session_auth_hash()
        _keep_typed(self.request)
        return answer

    def get_context_data(self, **given: Any) -> dict[str, Any]:
        context, typed = super().get_context_data(**given), self.request.POST.get("typed", "")
        if typed:
            carried = format_html('{}<input type="hidden" name="typed" value="{}">', context["redirect_field"], typed)
            context |= {"redirect_field": carried, "typed": True}
        return context | {"passkeys": may_have_passkeys(self.request)}


class _Counted:
    """A page that takes codes: wrong ones are counted by person and network."""

    request: HttpRequest

    def _tries(self) -> Tries:
        return _codes_of(self.request, self.stage.login.user if hasattr(self, "stage") else self.request.user)

    def post(self, request: HttpRequest, *args: Any, **given: Any) -> HttpResponse:
        take_all(self._tries())
        return super().post(request, *args, **given)

    def form_valid(self, form: forms.Form) -> HttpResponse:
        give_back_all(self._tries())
        return super().form_valid(form)


class CodeAgain(_Counted, CodeAgainView):
    pass


class SecondStep(_Counted, AuthenticateView):
    template_name = "log_in_code.html"

    @login_not_required
    def dispatch(self, request: HttpRequest, *args: Any, **given: Any) -> HttpResponse:
        """Begins anew where the password that was given is no longer theirs."""
        half = unstash_login(request, peek=True)
        if half and not (half.user.is_active and half.user.get_session_auth_hash() == request.session.get(HALF)):
            clear_login(request)
        return super().dispatch(request, *args, **given)

    def get_context_data(self, **given: Any) -> dict[str, Any]:
        return super().get_context_data(**given) | {"passkeys": may_have_passkeys(self.request)}


class LogOut(LogoutView):
    http_method_names = ["post", "options"]


class PasskeyIn(LoginWebAuthnView):
    def dispatch(self, request: HttpRequest, *args: Any, **given: Any) -> HttpResponse:
        OF_PASSKEYS.take(network_of(request))
        return super().dispatch(request, *args, **given)

    def form_valid(self, form: forms.Form) -> HttpResponse:
        """Nobody whose access has ended, and nobody who has yet to set a password by their link."""
        user = form.cleaned_data["credential"].user
        if user.is_active and user.has_usable_password():
            _keep_typed(self.request)
            return super().form_valid(form)
        note_refused(user=user, now=clock.now())
        form.add_error("credential", second_factors().validation_error("incorrect_code"))
        return self.form_invalid(form)


# Codes are figures, the recovery ones too: a phone shows their keys.
for each in (AuthenticateForm, ReauthenticateForm, ActivateTOTPForm):
    each.base_fields["code"].widget.attrs["inputmode"] = "numeric"

APP_KEY_S = 900
_KEY_MADE = "app_key_made_at"


class AppForm(ActivateTOTPForm):
    """The key stays for a quarter of an hour: scanned, the page may be loaded again before the code is typed."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        session = context.request.session
        is_fresh = time.time() - session.get(_KEY_MADE, 0) < APP_KEY_S
        kept = session.get(SECRET_SESSION_KEY) if is_fresh else None
        super().__init__(*args, **kwargs)
        if not self.is_bound and kept:
            self.secret = session[SECRET_SESSION_KEY] = kept
        elif not self.is_bound:
            session[_KEY_MADE] = time.time()


class PasskeyNameForm(EditWebAuthnForm):
    name = WordsField(gettext_lazy("Its name"), 60, needed=gettext_lazy("Give it a name."))


class NamePasskey(EditWebAuthnView):
    form_class = PasskeyNameForm
    template_name = "passkey_name.html"
    success_url = reverse_lazy("mfa_index")


class RemovePasskey(RemoveWebAuthnView):
    template_name = "second_factor_off.html"
    success_url = reverse_lazy("mfa_index")

    def form_valid(self, form: forms.Form) -> HttpResponse:
        passkey = self.get_object()
        if not second_factors().can_delete_authenticator(passkey):
            messages.error(self.request, str(second_factors().error_messages["cannot_delete_authenticator"]))
            return redirect("mfa_index")
        return super().form_valid(form)


# ---- passwords ----


class _Stored:
    """A form for a new password: it is stored by the service, which ends the log-ins that stood."""

    user: User
    cleaned_data: dict[str, Any]
    fields: dict[str, forms.Field]
    error_messages = {
        "password_mismatch": gettext_lazy("is not the same as the first; type the same twice."),
        "password_incorrect": gettext_lazy("is not your password as it stands."),
    }
    add_error: Callable[..., None]

    def validate_password_for_user(self, user: User, *_fields: Any) -> None:
        """In our words, beside the first of the two."""
        try:
            if given := self.cleaned_data.get("new_password1"):
                validate_password(given, user)
        except ValidationError as bad:
            self.add_error("new_password1", allowed_words(password_fault(bad)))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["new_password2"].label = _("New password again")

    def save(self, commit: bool = True) -> User:
        set_password(user=self.user, password=self.cleaned_data["new_password1"], now=clock.now())
        return self.user


class ChangePasswordForm(_Stored, passwords.PasswordChangeForm):
    def clean_old_password(self) -> str:
        """Guesses of whoever finds a page open count like those at the door, but for the door itself."""
        OF_ACCOUNT.take(f"change {self.user.pk}")
        given = super().clean_old_password()
        OF_ACCOUNT.give_back(f"change {self.user.pk}")
        return str(given)


class NewPasswordForm(_Stored, passwords.SetPasswordForm):
    pass


class ChangePassword(PasswordChangeView):
    form_class = ChangePasswordForm
    template_name = "password.html"
    success_url = reverse_lazy("mfa_index")

    def form_valid(self, form: Any) -> HttpResponse:
        messages.success(self.request, _("Your password is changed. Wherever else you were logged in, that has ended."))
        return super().form_valid(form)


class NewPassword(PasswordResetConfirmView):
    """By a link that somebody was given, once."""

    form_class = NewPasswordForm
    token_generator = password_links
    template_name = "new_password.html"
    success_url = reverse_lazy("account_login")

    def form_valid(self, form: Any) -> HttpResponse:
        messages.success(self.request, _("Your password is set. Log in with it."))
        return super().form_valid(form)


class ForgottenForm(forms.Form):
    email = forms.EmailField(label=gettext_lazy("Your e-mail address"), max_length=254)


@anybody("logging_in")
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def forgotten(request: HttpRequest) -> HttpResponse:
    """Asks for a link by mail; the answer is the same whether the address is anybody's."""
    asked = ForgottenForm(request.POST if request.method == "POST" else None)
    if has_mail() and asked.is_valid():
        OF_LINKS.take(network_of(request))
        ask_for_password_link(email=asked.cleaned_data["email"], now=clock.now())
        messages.success(request, _("If this is the address of an account here, a link is on its way to it."))
        return redirect("account_login")
    return render(request, "forgotten.html", {"form": asked, "has_mail": has_mail()})


# ---- one's own account ----


class TokenForm(forms.Form):
    name = WordsField(gettext_lazy("What it is for"), 100, needed=gettext_lazy("Say what it is for, in a few words."))
    scope = forms.ChoiceField(label=gettext_lazy("It may"), choices=ApiToken.Scope.choices)
    days = forms.IntegerField(
        label=gettext_lazy("Days until it ends"), min_value=1, max_value=MOST_DAYS, initial=90,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "maxlength": 3, "autocomplete": "off"}),
    )  # fmt: skip
    clients = forms.TypedMultipleChoiceField(
        label=gettext_lazy("Clients it may see"), coerce=uuid.UUID, required=False,
        help_text=gettext_lazy("none chosen: all that you may see"), widget=forms.SelectMultiple(attrs={"size": 5}),
    )  # fmt: skip

    def __init__(self, data: Any, viewer: User) -> None:
        super().__init__(data)
        self.known = {each.id: each for each in visible_clients(viewer).order_by("name", "id")}
        self.fields["clients"].choices = [(str(id), each.name) for id, each in self.known.items()]
        if not changes_anything(viewer):
            self.fields["scope"].choices = [each for each in ApiToken.Scope.choices if each[0] == ApiToken.Scope.READ]


class TokenEndForm(forms.Form):
    key = forms.RegexField(r"^[A-Za-z0-9_]{1,25}$", label=gettext_lazy("Token"))


def _shown(request: HttpRequest, refused: FleetError | None = None) -> HttpResponse:
    viewer = viewer_of(request)
    known = Authenticator.objects.filter(user=viewer).order_by("created_at")
    own = list(tokens_of(viewer))
    context = {
        "log_ins": log_ins_of(viewer),
        "this_one": row_key(request.session.session_key or ""),
        "app": known.filter(type=Authenticator.Type.TOTP).first(),
        "passkeys": known.filter(type=Authenticator.Type.WEBAUTHN),
        "may_have_passkeys": may_have_passkeys(request),
        "has_second_factor": has_second_factor(viewer),
        "must_have_second_factor": needs_second_factor(viewer),
        "tokens": own,
        "tokens_of_others": visible_tokens(viewer).exclude(pk__in=[each.pk for each in own]),
        **shown_now(request),
        "form": TokenForm(request.POST if refused else None, viewer),
        "has_no_way_back": is_sole_manager(viewer) and not (has_mail() and viewer.email),
        "most_days": MOST_DAYS,
        "office_zone": settings.TIME_ZONE,
        "refused": refused,
        "place": "account",
    }
    if refused:
        put_beside(context["form"], refused)
    answer = render(request, "account.html", context, status=refused.status if refused else 200)
    answer["Cache-Control"] = "no-store"
    return answer


@form("log_ins", refused=_shown)
def account(request: HttpRequest) -> HttpResponse:
    """Where one is logged in, second factors and tokens; posted to, one log-in ends, or all others."""
    if request.method != "POST":
        return _shown(request)
    viewer, key = viewer_of(request), request.POST.get("log_in", "")
    if key:
        end_log_in(actor=viewer, key=key, now=clock.now())
    else:
        end_other_log_ins(actor=viewer, but=row_key(request.session.session_key or ""), now=clock.now())
    messages.success(request, _("That log-in has ended.") if key else _("You are logged in here alone."))
    return redirect("mfa_index")


@act("tokens", place="mfa_index", refused=_shown)
def add_token(request: HttpRequest) -> HttpResponse:
    viewer = viewer_of(request)
    form = TokenForm(request.POST, viewer)
    given = taken(form)
    chosen = [form.known[each] for each in given.pop("clients")]
    ask_who_it_is(request)
    token, secret = create_token(user=viewer, **given, clients=chosen or None, actor=viewer, now=clock.now())
    return shown_next(request, reverse("mfa_index"), made=token.name, secret=secret)


@act("tokens", place="mfa_index", refused=_shown)
def end_token(request: HttpRequest) -> HttpResponse:
    revoke_token(actor=viewer_of(request), now=clock.now(), key=taken(TokenEndForm(request.POST))["key"])
    messages.success(request, _("The token has ended: it opens nothing from now on."))
    return redirect("mfa_index")


@anybody("first_line")
@require_safe
def gas_smell(request: HttpRequest) -> HttpResponse:
    return render(request, "gas_smell.html")


@anybody("first_line")
@require_safe
def co_alarm(request: HttpRequest) -> HttpResponse:
    return render(request, "co_alarm.html")


@receiver(user_logged_in)
@receiver(user_logged_out)
def _came_or_went(signal: Any, user: User | None = None, **_about: Any) -> None:
    if user:
        kind = AuditEntry.Kind.LOGGED_IN if signal is user_logged_in else AuditEntry.Kind.LOGGED_OUT
        note(kind=kind, user=user, now=clock.now())


@receiver(user_login_failed)
@receiver(authentication_failed)
def _refused(request: HttpRequest | None = None, user: User | None = None, **about: Any) -> None:
    """A name that is nobody's isn't kept: it may be a password in the wrong field."""
    name, tries = about.get("credentials", {}).get("username", ""), []
    if request:
        tries = _codes_of(request, user) if user else _tries_of(request, name)
    used_up = [allowance.share[0] for allowance, key in tries if allowance.wait_s(key)]
    user = user or User.objects.filter(username=name).first()
    note_refused(user=user, now=clock.now(), times=min(used_up, default=0))


_SECOND_FACTOR_CODES = {
    Authenticator.Type.TOTP: ("app_on", "app_off"),
    Authenticator.Type.WEBAUTHN: ("passkey_added", "passkey_removed"),
    Authenticator.Type.RECOVERY_CODES: ("recovery_codes_made", "recovery_codes_gone"),
}


@receiver(authenticator_added)
@receiver(authenticator_removed)
@receiver(authenticator_reset)
def _second_factor_changed(signal: Any, user: User, authenticator: Authenticator, **_about: Any) -> None:
    codes = _SECOND_FACTOR_CODES[Authenticator.Type(authenticator.type)]
    note_change(user=user, actor=user, now=clock.now(), code=codes[signal is authenticator_removed])


def _again(view: Any) -> Any:
    return view.as_view(template_name="log_in_again.html")


# The names are those by which allauth's pages lead to one another; what is not listed is not to be had.
ROUTES = [
    path("log-in/", LogIn.as_view(), name="account_login"),
    path("log-in/code/", SecondStep.as_view(), name="mfa_authenticate"),
    path("log-in/passkey/", anybody("logging_in")(PasskeyIn.as_view()), name="mfa_login_webauthn"),
    path("log-in/again/", _again(ReauthenticateView), name="account_reauthenticate"),
    path("log-in/again/code/", _again(CodeAgain), name="mfa_reauthenticate"),
    path("log-in/again/passkey/", _again(ReauthenticateWebAuthnView), name="mfa_reauthenticate_webauthn"),
    path("log-out/", LogOut.as_view(), name="account_logout"),
    path("forgotten/", forgotten, name="forgotten"),
    path("new-password/<uidb64>/<token>/", NewPassword.as_view(), name="new-password"),
    path("account/", account, name="mfa_index"),
    path("account/password/", ChangePassword.as_view(), name="password"),
    path(
        "account/app/",
        ActivateTOTPView.as_view(form_class=AppForm, template_name="authenticator_app.html"),
        name="mfa_activate_totp",
    ),
    path(
        "account/app/off/",
        DeactivateTOTPView.as_view(template_name="second_factor_off.html"),
        name="mfa_deactivate_totp",
    ),
    path(
        "account/recovery-codes/",
        ViewRecoveryCodesView.as_view(template_name="recovery_codes.html"),
        name="mfa_view_recovery_codes",
    ),
    path(
        "account/recovery-codes/new/",
        GenerateRecoveryCodesView.as_view(template_name="recovery_codes_new.html"),
        name="mfa_generate_recovery_codes",
    ),
    path("account/passkeys/new/", AddWebAuthnView.as_view(template_name="passkey.html"), name="mfa_add_webauthn"),
    path("account/passkeys/<int:pk>/", NamePasskey.as_view(), name="mfa_edit_webauthn"),
    path("account/passkeys/<int:pk>/off/", RemovePasskey.as_view(), name="mfa_remove_webauthn"),
    path("account/tokens/", add_token, name="token-add"),
    path("account/tokens/end/", end_token, name="token-end"),
    path("gas-smell/", gas_smell, name="gas-smell"),
    path("co-alarm/", co_alarm, name="co-alarm"),
]
