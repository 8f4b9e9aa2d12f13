"""The contractor: its name and address, and whom pages tell people to call."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from fleet import clock
from fleet.errors import FleetError
from fleet.intake.fields import fields_of, read_shape
from fleet.intake.register import ContractorIn
from fleet.queries.register import the_contractor
from fleet.services.contractor import change_contractor
from fleet.web.forms import VersionForm, taken
from fleet.web.guards import form, viewer_of
from fleet.web.shape_forms import form_of

ContractorForm = form_of(ContractorIn)


@form("contractor")
def contractor(request: HttpRequest) -> HttpResponse:
    viewer, refused = viewer_of(request), None
    stands = the_contractor(viewer)
    asked = ContractorForm(
        request.POST if request.method == "POST" else None,
        initial={name: getattr(stands, name) for name in fields_of(ContractorIn)},
    )
    if request.method == "POST":
        try:
            changes = read_shape(ContractorIn, {"address": ""} | asked.content(), viewer=viewer)
            version = taken(VersionForm(request.POST))["version"]
            change_contractor(version=version, changes=changes, shown="", now=clock.now())
            messages.success(request, _("Kept. Pages and paper say it from now on."))
            return redirect("contractor")
        except FleetError as bad:
            refused = bad
            asked.refuse(bad.errors)
    shown = {"asked": asked, "refused": refused, "version": request.POST.get("version") or stands.version}
    return render(
        request, "contractor.html", shown | {"place": "installation"}, status=refused.status if refused else 200
    )
