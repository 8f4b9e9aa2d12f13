"""Every address of the service."""

from django.urls import include, path, re_path

from api.errors import unknown_path
from fleet.web import accounts, appliances, attention, buildings, duties, records, statements, visits

handler400 = "fleet.web.faults.not_understood"
handler500 = "fleet.web.faults.server_fault"

urlpatterns = [
    path("", attention.attention, name="attention"),
    path("flags/<uuid:flag_id>/acknowledge/", attention.acknowledge, name="flag-acknowledge"),
    path("flags/<uuid:flag_id>/close/", attention.close, name="flag-close"),
    path("buildings/", buildings.buildings, name="buildings"),
    path("buildings/<uuid:building_id>/", buildings.building, name="building"),
    path("appliances/<uuid:appliance_id>/", appliances.appliance, name="appliance"),
    path("visits/<uuid:visit_id>/", visits.visit, name="visit"),
    path("visits/<uuid:visit_id>/paper.pdf", visits.paper, name="visit-paper"),
    path("duties/", duties.duties, name="duties"),
    path("records/", records.records, name="records"),
    path("records/marks/<uuid:mark_id>/settle/", records.settle_mark_form, name="mark-settle"),
    path("records/held/<uuid:held_id>/settle/", records.settle_held_form, name="held-settle"),
    path("statements/", statements.statements, name="statements"),
    path("statements/statement.pdf", statements.pdf, name="statement-pdf"),
    path("statements/statement.csv", statements.csv, name="statement-csv"),
    path("log-in/", accounts.LogIn.as_view(), name="log-in"),
    path("log-out/", accounts.LogOut.as_view(), name="log-out"),
    path("gas-smell/", accounts.gas_smell, name="gas-smell"),
    path("api/v1/", include("api.urls")),
    re_path(r"^api/", unknown_path, name="api-unknown"),
]
