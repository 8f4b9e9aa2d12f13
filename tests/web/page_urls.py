"""Addresses for tests of the templates alone: the pages that these link to are stood in for."""

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import include, path

from fleet.web.accounts import ROUTES
from fleet.web.beginning import begin
from fleet.web.glossary import glossary


@login_not_required
def stand_in(request: HttpRequest) -> HttpResponse:
    return render(request, "one_column.html")


@login_not_required
def broken(request: HttpRequest) -> HttpResponse:
    raise RuntimeError("broken on purpose")


urlpatterns = [
    *(
        path(f"{name}/", stand_in, name=name)
        for name in (
            "attention",
            "buildings",
            "defects",
            "deliveries",
            "required-checks",
            "alerts",
            "records",
            "statements",
            "installation",
            "people",
        )
    ),
    path("sheets/", stand_in, name="sheets"),
    path("buildings/one/", stand_in, name="building"),
    path("broken/", broken),
    path("", include(ROUTES)),
    path("begin/", begin, name="begin"),
    path("glossary/", glossary, name="glossary"),
]
