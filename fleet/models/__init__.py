"""Tables, by subject. Columns, constraints and small derived values; rules live in services and the pure rooms."""

from fleet.models.access import ApiToken, Role, User
from fleet.models.alerts import Alert, AlertSettings, OnCall
from fleet.models.analysers import Analyser, Calibration
from fleet.models.appliances import Appliance, FlueGroup, ModelSheet, SheetVersion
from fleet.models.buildings import Building, GasSupply
from fleet.models.calendars import CalendarEntry, CalendarLink
from fleet.models.contractor import Contractor
from fleet.models.deliveries import Delivery, Sending
from fleet.models.files import StoredFile
from fleet.models.flags import Flag
from fleet.models.follow_ups import Defect, Retest
from fleet.models.forecasts import Forecast, ForecastCheck, Snapshot
from fleet.models.gas_conversions import GasConversion
from fleet.models.jobs import Job
from fleet.models.judgements import Diagnosis, Finding, Judgement, VisitCheck
from fleet.models.limits import LimitSet, LimitSetAssignment, LimitSetVersion, StopLevels
from fleet.models.no_access import NoAccess
from fleet.models.out_of_use import OutOfUse
from fleet.models.people import Person, Qualification
from fleet.models.records import Record, UnreadableRecord
from fleet.models.register import Client
from fleet.models.required_checks import RequiredCheck
from fleet.models.revisits import OccupierNotice, Revisit
from fleet.models.tenancies import Tenancy
from fleet.models.visits import Attendance, Question, Reading, Visit, WorkItem
from fleet.models.webhooks import AllowedTarget, EventKind, HookDelivery, Webhook

__all__ = [
    "Alert",
    "AlertSettings",
    "AllowedTarget",
    "Analyser",
    "ApiToken",
    "Appliance",
    "Attendance",
    "Building",
    "CalendarEntry",
    "CalendarLink",
    "Calibration",
    "Client",
    "Contractor",
    "Defect",
    "Delivery",
    "Diagnosis",
    "EventKind",
    "Finding",
    "Flag",
    "FlueGroup",
    "Forecast",
    "ForecastCheck",
    "GasConversion",
    "GasSupply",
    "HookDelivery",
    "Job",
    "Judgement",
    "LimitSet",
    "LimitSetAssignment",
    "LimitSetVersion",
    "ModelSheet",
    "NoAccess",
    "OccupierNotice",
    "OnCall",
    "OutOfUse",
    "Person",
    "Qualification",
    "Question",
    "Reading",
    "Record",
    "RequiredCheck",
    "Retest",
    "Revisit",
    "Role",
    "Sending",
    "SheetVersion",
    "Snapshot",
    "StopLevels",
    "StoredFile",
    "Tenancy",
    "UnreadableRecord",
    "User",
    "Visit",
    "VisitCheck",
    "Webhook",
    "WorkItem",
]
