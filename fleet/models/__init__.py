"""Tables, by subject. Columns, constraints and small derived values; rules live in services and the pure rooms."""

from fleet.models.access import ApiToken, LogIn, Role, User
from fleet.models.alerts import Alert, AlertSettings, OnCall
from fleet.models.analysers import Analyser, Calibration
from fleet.models.appliances import Appliance, FlueGroup, GasConversion, ModelSheet, OutOfUse, SheetVersion
from fleet.models.audit import AuditEntry
from fleet.models.buildings import Building, GasSupply, Tenancy
from fleet.models.calendars import CalendarEntry, CalendarLink
from fleet.models.contractor import Contractor
from fleet.models.corrections import Correction
from fleet.models.deliveries import Delivery, Sending
from fleet.models.files import StoredFile
from fleet.models.follow_ups import Defect, Flag, Retest
from fleet.models.forecasts import Forecast, ForecastCheck, Snapshot
from fleet.models.jobs import Job
from fleet.models.judgements import Diagnosis, Finding, Judgement, VisitCheck
from fleet.models.limits import LimitSet, LimitSetAssignment, LimitSetVersion, StopLevels
from fleet.models.people import Person, Qualification
from fleet.models.records import Record, UnreadableRecord
from fleet.models.register import Client
from fleet.models.required_checks import RequiredCheck
from fleet.models.revisits import NoAccess, OccupierNotice, Revisit
from fleet.models.visits import Attendance, Question, Reading, Visit, WorkItem
from fleet.models.webhooks import AllowedTarget, EventKind, HookDelivery, Webhook
