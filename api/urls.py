"""Every address of the API, below /api/v1/."""

from django.urls import path, register_converter

from api import (
    analysers,
    appliances,
    attachments,
    attention,
    buildings,
    clients,
    contractor,
    defects,
    documentation,
    duties,
    files,
    flags,
    flue_groups,
    forecasts,
    held_messages,
    jobs,
    limit_sets,
    marks,
    people,
    records,
    revisits,
    sheets,
    statements,
    stop_lines,
    tokens,
    visits,
)

register_converter(tokens.TokenKey, "token_key")

_REGISTER = [
    path("clients", clients.Clients.as_view(), name="api-clients"),
    path("clients/<uuid:id>", clients.OneClient.as_view(), name="api-client"),
    path("buildings", buildings.Buildings.as_view(), name="api-buildings"),
    path("buildings/<uuid:id>", buildings.OneBuilding.as_view(), name="api-building"),
    path("people", people.People.as_view(), name="api-people"),
    path("people/<uuid:id>", people.OnePerson.as_view(), name="api-person"),
    path("people/<uuid:id>/qualifications", people.Qualifications.as_view(), name="api-qualifications"),
    path("analysers", analysers.Analysers.as_view(), name="api-analysers"),
    path("analysers/<uuid:id>", analysers.OneAnalyser.as_view(), name="api-analyser"),
    path("analysers/<uuid:id>/calibrations", analysers.Calibrations.as_view(), name="api-calibrations"),
    path("sheets", sheets.Sheets.as_view(), name="api-sheets"),
    path("sheets/<uuid:id>", sheets.OneSheet.as_view(), name="api-sheet"),
    path("sheets/<uuid:id>/versions", sheets.SheetVersions.as_view(), name="api-sheet-versions"),
    path("flue-groups", flue_groups.FlueGroups.as_view(), name="api-flue-groups"),
    path("flue-groups/<uuid:id>", flue_groups.OneFlueGroup.as_view(), name="api-flue-group"),
    path("appliances", appliances.Appliances.as_view(), name="api-appliances"),
    path("appliances/<uuid:id>", appliances.OneAppliance.as_view(), name="api-appliance"),
    path("appliances/<uuid:id>/history", appliances.ApplianceHistory.as_view(), name="api-history"),
    path("appliances/<uuid:id>/card", appliances.ApplianceCard.as_view(), name="api-card"),
]
_RULES = [
    path("limit-sets", limit_sets.LimitSets.as_view(), name="api-limit-sets"),
    path("limit-sets/<uuid:id>", limit_sets.OneLimitSet.as_view(), name="api-limit-set"),
    path("limit-sets/<uuid:id>/versions", limit_sets.LimitSetVersions.as_view(), name="api-limit-set-versions"),
    path("limit-sets/<uuid:id>/review", limit_sets.LimitSetReview.as_view(), name="api-limit-set-review"),
    path("attachments", attachments.Attachments.as_view(), name="api-attachments"),
    path("attachments/<uuid:id>", attachments.OneAttachment.as_view(), name="api-attachment"),
    path("stop-lines", stop_lines.AllStopLines.as_view(), name="api-stop-lines"),
    path("duties", duties.Duties.as_view(), name="api-duties"),
    path("duties/<uuid:id>", duties.OneDuty.as_view(), name="api-duty"),
]
_VISITS = [
    path("visits", visits.Visits.as_view(), name="api-visits"),
    path("visits/<uuid:id>", visits.OneVisit.as_view(), name="api-visit"),
    path("visits/<uuid:id>/amendments", visits.Amendments.as_view(), name="api-amendments"),
    path("visits/<uuid:id>/paper.pdf", visits.VisitPaper.as_view(), name="api-visit-paper"),
    path("visits/<uuid:id>/files", files.VisitFiles.as_view(), name="api-visit-files"),
    path("files/<uuid:id>", files.OneFile.as_view(), name="api-file"),
    path("files/<uuid:id>/content", files.FileContent.as_view(), name="api-file-content"),
    path("held-messages", held_messages.HeldMessages.as_view(), name="api-held-messages"),
    path("held-messages/<uuid:id>", held_messages.OneHeldMessage.as_view(), name="api-held-message"),
    path(
        "held-messages/<uuid:id>/settle",
        held_messages.SettleHeldMessage.as_view(),
        name="api-settle-held-message",
    ),
    path("marks", marks.Marks.as_view(), name="api-marks"),
    path("marks/<uuid:id>/settle", marks.SettleMark.as_view(), name="api-settle-mark"),
    path("defects", defects.Defects.as_view(), name="api-defects"),
    path("records", records.Records.as_view(), name="api-records"),
    path("records/<uuid:id>", records.OneRecord.as_view(), name="api-record"),
    path("records/<uuid:id>/content", records.RecordContent.as_view(), name="api-record-content"),
]
_WORK = [
    path("attention", attention.AttentionNow.as_view(), name="api-attention"),
    path("flags", flags.Flags.as_view(), name="api-flags"),
    path("flags/<uuid:id>", flags.OneFlag.as_view(), name="api-flag"),
    path("flags/<uuid:id>/acknowledge", flags.AcknowledgeFlag.as_view(), name="api-acknowledge-flag"),
    path("flags/<uuid:id>/close", flags.CloseFlag.as_view(), name="api-close-flag"),
    path("forecasts", forecasts.Forecasts.as_view(), name="api-forecasts"),
    path("forecasts/<uuid:id>", forecasts.OneForecast.as_view(), name="api-forecast"),
    path("revisits", revisits.Revisits.as_view(), name="api-revisits"),
    path("statements", statements.Statements.as_view(), name="api-statements"),
]
_HOUSE = [
    path("contractor", contractor.OneContractor.as_view(), name="api-contractor"),
    path("jobs", jobs.Jobs.as_view(), name="api-jobs"),
    path("jobs/<uuid:id>/retry", jobs.RetryJob.as_view(), name="api-retry-job"),
    path("tokens", tokens.Tokens.as_view(), name="api-tokens"),
    path("tokens/<token_key:key>", tokens.OneToken.as_view(), name="api-token"),
    path("schema", documentation.OpenAPI.as_view(), name="api-schema"),
    path("documentation", documentation.documentation, name="api-documentation"),
]

urlpatterns = [*_REGISTER, *_RULES, *_VISITS, *_WORK, *_HOUSE]
