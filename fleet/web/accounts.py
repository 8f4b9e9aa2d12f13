"""Logging in and out; and the page for a gas smell, which asks nobody to log in."""

from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import AuthenticationForm, UsernameField
from django.contrib.auth.views import LoginView, LogoutView
from django.forms import TextInput
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render, resolve_url
from django.views.decorators.http import require_safe

from fleet.models import User
from fleet.web.places import places_of

MOST_CHARACTERS = 150  # of a user's name, as its column has it


class LogInForm(AuthenticationForm):
    """A name longer than any can be is refused before it is counted as a wrong try."""

    username = UsernameField(max_length=MOST_CHARACTERS, widget=TextInput(attrs={"autofocus": True}))


class LogIn(LoginView):
    authentication_form = LogInForm
    template_name = "log_in.html"
    redirect_authenticated_user = True

    def get_default_redirect_url(self) -> str:
        """The first place of the role, where no page was asked for."""
        user = self.request.user
        places = places_of(user.role) if isinstance(user, User) else ()
        return resolve_url(places[0].name) if places else super().get_default_redirect_url()


class LogOut(LogoutView):
    http_method_names = ["post", "options"]


@login_not_required
@require_safe
def gas_smell(request: HttpRequest) -> HttpResponse:
    return render(request, "gas_smell.html")
