"""Every address of the service."""

from django.urls import include, path, re_path

from api.errors import unknown_path
from fleet.web import (
    accounts,
    appliances,
    attention,
    buildings,
    duties,
    exchange,
    honesty,
    limit_sets,
    records,
    sheets,
    statements,
    visits,
)

handler400 = "fleet.web.faults.not_understood"
handler500 = "fleet.web.faults.server_fault"

urlpatterns = [
    path("", attention.attention, name="attention"),
    path("flags/<uuid:flag_id>/acknowledge/", attention.acknowledge, name="flag-acknowledge"),
    path("flags/<uuid:flag_id>/close/", attention.close, name="flag-close"),
    path("buildings/", buildings.buildings, name="buildings"),
    path("buildings/<uuid:building_id>/", buildings.building, name="building"),
    path("buildings/<uuid:building_id>/gas/", buildings.add_gas, name="building-gas"),
    path("appliances/<uuid:appliance_id>/", appliances.appliance, name="appliance"),
    path("visits/<uuid:visit_id>/", visits.visit, name="visit"),
    path("visits/<uuid:visit_id>/paper.pdf", visits.paper, name="visit-paper"),
    path("duties/", duties.duties, name="duties"),
    path("sheets/", sheets.sheets, name="sheets"),
    path("sheets/new/", sheets.new, name="sheet-new"),
    path("sheets/import/", exchange.take, name="sheet-import"),
    path("sheets/<uuid:sheet_id>/", sheets.sheet, name="sheet"),
    path("sheets/<uuid:sheet_id>/edit/", sheets.edit, name="sheet-edit"),
    path("sheets/<uuid:sheet_id>/copy/", sheets.copy, name="sheet-copy"),
    path("sheets/<uuid:sheet_id>/retire/", sheets.retire, name="sheet-retire"),
    path("limit-sets/<uuid:limit_set_id>/", limit_sets.limit_set, name="limit-set"),
    path("limit-sets/<uuid:limit_set_id>/edit/", limit_sets.edit, name="limit-set-edit"),
    path("limit-sets/<uuid:limit_set_id>/review/", limit_sets.review, name="limit-set-review"),
    path("limit-sets/<uuid:limit_set_id>/copy/", limit_sets.copy, name="limit-set-copy"),
    path("limit-sets/<uuid:limit_set_id>/retire/", limit_sets.retire, name="limit-set-retire"),
    path("records/", records.records, name="records"),
    path("records/marks/<uuid:mark_id>/settle/", records.settle_mark_form, name="mark-settle"),
    path("records/held/<uuid:held_id>/settle/", records.settle_held_form, name="held-settle"),
    path("statements/", statements.statements, name="statements"),
    path("forecasts/held/", honesty.honesty, name="honesty"),
    path("statements/statement.pdf", statements.pdf, name="statement-pdf"),
    path("statements/statement.csv", statements.csv, name="statement-csv"),
    path("log-in/", accounts.LogIn.as_view(), name="log-in"),
    path("log-out/", accounts.LogOut.as_view(), name="log-out"),
    path("gas-smell/", accounts.gas_smell, name="gas-smell"),
    path("api/v1/", include("api.urls")),
    re_path(r"^api/", unknown_path, name="api-unknown"),
]
