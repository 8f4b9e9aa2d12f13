"""The audit trail as a page: the newest entries, of one kind or person where they are named."""

from urllib.parse import urlencode

from django import forms
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext_lazy as _

from fleet.models import AuditEntry, User
from fleet.presentation.audit import done_by, entry_words
from fleet.queries.audit import names_in, visible_audit_entries
from fleet.web.forms import chosen_id
from fleet.web.guards import page, viewer_of

SHOWN = 100


class ChosenForm(forms.Form):
    kind = forms.ChoiceField(label=_("What"), required=False, choices=[("", _("everything")), *AuditEntry.Kind.choices])


@page("audit_trail")
def audit_trail(request: HttpRequest) -> HttpResponse:
    """Newest first, a hundred a page; older ones by the last entry's id."""
    chosen = ChosenForm(request.GET)
    entries = visible_audit_entries(viewer_of(request)).order_by("-id")
    if kind := chosen.cleaned_data["kind"] if chosen.is_valid() else "":
        entries = entries.filter(kind=kind)
    if user := chosen_id(request.GET, "user"):
        entries = entries.filter(user=user)
    if before := chosen_id(request.GET, "before"):
        entries = entries.filter(id__lt=before)
    found = list(entries[: SHOWN + 1])
    chosen_by = {name: said for name, said in (("kind", kind), ("user", user)) if said}
    names = names_in(viewer_of(request), (each.path for each in found))
    shown = {
        "place": "audit-trail",
        "zone": settings.TIME_ZONE,
        "form": chosen,
        "kind": kind,
        "chosen_user": User.objects.filter(id=user).first() if user else None,
        "entries": [(each, entry_words(each, names), done_by(each)) for each in found[:SHOWN]],
        "older": urlencode(chosen_by | {"before": found[SHOWN - 1].id}) if len(found) > SHOWN else "",
    }
    return render(request, "audit_trail.html", shown)
