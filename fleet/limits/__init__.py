"""Limits: tolerance bands, decision rules, the card, its evaluation and the advice that follows."""

from fleet.limits.advise import Advice, advise
from fleet.limits.card import CARD_VERSION, FUEL_CLASSES, Adjuster, Card, card, fuel_class
from fleet.limits.decision import acceptance_limits, conformance_probability, decide
from fleet.limits.evaluate import evaluate
from fleet.limits.learned import Response, Step, learned_response
from fleet.limits.patterns import Diagnosis, VisitView, diagnose
from fleet.limits.patterns_elsewhere import analyser_shift, copied_readings, site_shift
from fleet.limits.rows import SEVERITIES, Row
from fleet.limits.tolerance import Band, band
from fleet.limits.verdicts import Verdict, Verdicts, standing
