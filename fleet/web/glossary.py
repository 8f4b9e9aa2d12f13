"""The page of our words, open to whoever reads one of them."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.presentation.glossary import CHAPTERS
from fleet.web.guards import anybody


@anybody("glossary")
@require_safe
def glossary(request: HttpRequest) -> HttpResponse:
    return render(request, "glossary.html", {"chapters": CHAPTERS})
