"""Typed due-date rules: a rule and the checks on record give the next due date and its arithmetic."""

from fleet.intervals.due import Check, Due
from fleet.intervals.rules import faults, rule_schema, selects_in
from fleet.intervals.schedule import next_due
from fleet.intervals.what_if import WhatIf, what_if
