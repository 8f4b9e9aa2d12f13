"""Every address of the API, below /api/v1/."""

from django.urls import URLPattern, path, register_converter

from api import (
    alerts,
    analysers,
    appliances,
    attention,
    audit,
    buildings,
    calendars,
    clients,
    contractor,
    defects,
    deliveries,
    documentation,
    exchange,
    files,
    flags,
    forecasts,
    gas_conversions,
    jobs,
    limit_sets,
    no_access,
    out_of_use,
    people,
    questions,
    records,
    replacements,
    required_checks,
    retests,
    revisits,
    sheets,
    statements,
    tenancies,
    tokens,
    visits,
    webhooks,
    what_if,
)
from api.doors import Door


def at(address: str, door: type[Door], name: str) -> URLPattern:
    return path(address, door.as_view(), name=f"api-{name}")


def both(rows: str, all_of_them: type[Door], one_of_them: type[Door], one: str) -> tuple[URLPattern, URLPattern]:
    """A list and one of its rows."""
    return at(rows, all_of_them, rows), at(f"{rows}/<uuid:id>", one_of_them, one)


register_converter(tokens.TokenKey, "token_key")

_REGISTER = [
    *both("clients", clients.Clients, clients.OneClient, "client"),
    *both("buildings", buildings.Buildings, buildings.OneBuilding, "building"),
    *both("gas-supplies", buildings.GasSupplies, buildings.OneGasSupply, "gas-supply"),
    *both("tenancies", tenancies.Tenancies, tenancies.OneTenancy, "tenancy"),
    *both("people", people.People, people.OnePerson, "person"),
    at("people/<uuid:id>/qualifications", people.Qualifications, "qualifications"),
    *both("analysers", analysers.Analysers, analysers.OneAnalyser, "analyser"),
    at("analysers/<uuid:id>/calibrations", analysers.Calibrations, "calibrations"),
    at("sheets", sheets.Sheets, "sheets"),
    at("sheets/import", exchange.ImportSheet, "import-sheet"),
    at("sheets/<uuid:id>", sheets.OneSheet, "sheet"),
    at("sheets/<uuid:id>/versions", sheets.SheetVersions, "sheet-versions"),
    at("sheets/<uuid:id>/versions/preview", sheets.PreviewSheet, "preview-sheet"),
    at("sheets/<uuid:id>/versions/compare", sheets.CompareSheet, "compare-sheet"),
    at("sheets/<uuid:id>/copy", sheets.CopySheet, "copy-sheet"),
    at("sheets/<uuid:id>/export", sheets.ExportSheet, "export-sheet"),
    *both("flue-groups", appliances.FlueGroups, appliances.OneFlueGroup, "flue-group"),
    *both("appliances", appliances.Appliances, appliances.OneAppliance, "appliance"),
    at("appliances/<uuid:id>/history", appliances.ApplianceHistory, "history"),
    at("appliances/<uuid:id>/advice", appliances.ApplianceAdvice, "advice"),
    at("appliances/<uuid:id>/out-of-use", out_of_use.OutOfUsePeriods, "out-of-use"),
    at("out-of-use/<uuid:id>/end", out_of_use.EndOutOfUse, "end-out-of-use"),
    at("appliances/<uuid:id>/gas-conversions", gas_conversions.GasConversions, "gas-conversions"),
    at("appliances/<uuid:id>/replacement", replacements.Replacement, "replacement"),
    at("appliances/<uuid:id>/what-if", what_if.ApplianceWhatIf, "what-if"),
    at("buildings/<uuid:id>/what-if", what_if.BuildingWhatIf, "building-what-if"),
    at("appliances/<uuid:id>/card", appliances.ApplianceCard, "card"),
]
_RULES = [
    at("limit-sets", limit_sets.LimitSets, "limit-sets"),
    at("limit-sets/import", exchange.ImportLimitSet, "import-limit-set"),
    at("limit-sets/<uuid:id>", limit_sets.OneLimitSet, "limit-set"),
    at("limit-sets/<uuid:id>/versions", limit_sets.LimitSetVersions, "limit-set-versions"),
    at("limit-sets/<uuid:id>/versions/preview", limit_sets.PreviewLimitSet, "preview-limit-set"),
    at("limit-sets/<uuid:id>/versions/compare", limit_sets.CompareLimitSet, "compare-limit-set"),
    at("limit-sets/<uuid:id>/copy", limit_sets.CopyLimitSet, "copy-limit-set"),
    at("limit-sets/<uuid:id>/export", limit_sets.ExportLimitSet, "export-limit-set"),
    at("limit-sets/<uuid:id>/review", limit_sets.LimitSetReview, "limit-set-review"),
    at("limit-set-assignments", limit_sets.Assignments, "assignments"),
    at("limit-set-assignments/<uuid:id>", limit_sets.OneAssignment, "assignment"),
    at("stop-levels", limit_sets.AllStopLevels, "stop-levels"),
    *both("required-checks", required_checks.RequiredChecks, required_checks.OneRequiredCheck, "required-check"),
]
_VISITS = [
    *both("visits", visits.Visits, visits.OneVisit, "visit"),
    at("visits/<uuid:id>/amendments", visits.Amendments, "amendments"),
    at("visits/<uuid:id>/paper.pdf", visits.VisitPaper, "visit-paper"),
    at("visits/<uuid:id>/files", files.VisitFiles, "visit-files"),
    at("files/<uuid:id>", files.OneFile, "file"),
    at("files/<uuid:id>/content", files.FileContent, "file-content"),
    *both("unreadable-records", records.UnreadableRecords, records.OneUnreadableRecord, "unreadable-record"),
    at("unreadable-records/<uuid:id>/resolve", records.ResolveUnreadableRecord, "resolve-unreadable-record"),
    at("questions", questions.Questions, "questions"),
    at("questions/<uuid:id>/resolve", questions.ResolveQuestion, "resolve-question"),
    *both("defects", defects.Defects, defects.OneDefect, "defect"),
    at("defects/<uuid:id>/resolve", defects.ResolveDefect, "resolve-defect"),
    *both("deliveries", deliveries.Deliveries, deliveries.OneDelivery, "delivery"),
    at("deliveries/<uuid:id>/send", deliveries.SendDelivery, "send-delivery"),
    at("deliveries/<uuid:id>/fail", deliveries.FailDelivery, "fail-delivery"),
    *both("records", records.Records, records.OneRecord, "record"),
    at("records/<uuid:id>/content", records.RecordContent, "record-content"),
]
_WORK = [
    at("attention", attention.AttentionNow, "attention"),
    *both("flags", flags.Flags, flags.OneFlag, "flag"),
    at("flags/<uuid:id>/acknowledge", flags.AcknowledgeFlag, "acknowledge-flag"),
    at("flags/<uuid:id>/close", flags.CloseFlag, "close-flag"),
    *both("forecasts", forecasts.Forecasts, forecasts.OneForecast, "forecast"),
    at("forecasts/accuracy", forecasts.ForecastAccuracyNow, "forecast-accuracy"),
    *both("revisits", revisits.Revisits, revisits.OneRevisit, "revisit"),
    at("revisits/<uuid:id>/book", revisits.BookDay, "book-revisit"),
    at("revisits/<uuid:id>/release", revisits.ReleaseDay, "release-revisit"),
    at("buildings/<uuid:id>/revisits", revisits.RevisitsOfBuilding, "building-revisits"),
    at("retests", retests.Retests, "retests"),
    at("no-access", no_access.NoAccesses, "no-accesses"),
    at("no-access/<uuid:id>", no_access.OneNoAccess, "no-access"),
    at("no-access/<uuid:id>/files", no_access.NoAccessFiles, "no-access-files"),
    at("statements", statements.Statements, "statements"),
]
_HOUSE = [
    at("contractor", contractor.OneContractor, "contractor"),
    at("contractor/preview", contractor.PreviewPlanningSettings, "preview-planning-settings"),
    at("audit-trail", audit.AuditTrail, "audit-trail"),
    at("background-work", jobs.Jobs, "background-jobs"),
    at("background-work/<uuid:id>", jobs.OneJob, "background-job"),
    at("background-work/<uuid:id>/retry", jobs.RetryJob, "retry-job"),
    at("background-work/<uuid:id>/cancel", jobs.CancelJob, "cancel-job"),
    at("background-work/summary", jobs.BackgroundWorkNow, "background-work-summary"),
    at("alert-settings", alerts.OwnAlerts, "alert-settings"),
    *both("on-call", alerts.OnCallList, alerts.OnCallEntry, "on-call-entry"),
    at("alerts", alerts.Alerts, "alerts"),
    *both("webhooks", webhooks.Webhooks, webhooks.OneWebhook, "webhook"),
    at("webhooks/<uuid:id>/secret", webhooks.RenewSecret, "webhook-secret"),
    at("webhooks/<uuid:id>/trial", webhooks.TrialEvent, "webhook-trial"),
    at("webhooks/<uuid:id>/attempts", webhooks.HookDeliveries, "webhook-attempts"),
    *both("webhook-hosts", webhooks.AllowedTargets, webhooks.OneAllowedTarget, "webhook-host"),
    *both("calendar-links", calendars.CalendarLinks, calendars.OneCalendarLink, "calendar-link"),
    at("calendar-links/<uuid:id>/renew", calendars.RenewCalendarLink, "renew-calendar"),
    at("calendar-links/<uuid:id>/revoke", calendars.RevokeCalendarLink, "revoke-calendar"),
    at("tokens", tokens.Tokens, "tokens"),
    at("tokens/<token_key:key>", tokens.OneToken, "token"),
    at("schemas/sheet", exchange.SheetSchema, "sheet-schema"),
    at("schemas/limit-set", exchange.LimitSetSchema, "limit-set-schema"),
    at("schema", documentation.OpenAPI, "schema"),
    path("documentation", documentation.documentation, name="api-documentation"),
]

urlpatterns = [*_REGISTER, *_RULES, *_VISITS, *_WORK, *_HOUSE]
