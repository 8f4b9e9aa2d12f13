"""Tables, by subject. Columns, constraints and small derived values; rules live in services and the pure rooms."""

from fleet.models.access import ApiToken, Role, User
from fleet.models.analysers import Analyser, Calibration
from fleet.models.appliances import Appliance, FlueGroup, ModelSheet, SheetVersion
from fleet.models.attendances import Attendance
from fleet.models.buildings import Building, GasSupply
from fleet.models.clients import Client
from fleet.models.contractor import Contractor
from fleet.models.defects import Defect
from fleet.models.duties import Duty
from fleet.models.files import StoredFile
from fleet.models.flags import Flag
from fleet.models.forecasts import CeilingForecast, Forecast, ForecastCheck, Snapshot
from fleet.models.jobs import Job
from fleet.models.judgements import Diagnosis, Finding, Judgement
from fleet.models.limits import LimitSet, LimitSetAttachment, LimitSetVersion, StopLines
from fleet.models.people import Person, Qualification
from fleet.models.records import HeldMessage, Record
from fleet.models.revisits import Revisit
from fleet.models.visits import Mark, Reading, Visit, WorkItem

__all__ = [
    "Analyser",
    "ApiToken",
    "Appliance",
    "Attendance",
    "Building",
    "Calibration",
    "CeilingForecast",
    "Client",
    "Contractor",
    "Defect",
    "Diagnosis",
    "Duty",
    "Finding",
    "Flag",
    "FlueGroup",
    "Forecast",
    "ForecastCheck",
    "GasSupply",
    "HeldMessage",
    "Job",
    "Judgement",
    "LimitSet",
    "LimitSetAttachment",
    "LimitSetVersion",
    "Mark",
    "ModelSheet",
    "Person",
    "Qualification",
    "Reading",
    "Record",
    "Revisit",
    "Role",
    "SheetVersion",
    "Snapshot",
    "StopLines",
    "StoredFile",
    "User",
    "Visit",
    "WorkItem",
]
