"""Limits: tolerance bands, decision rules, the card, its evaluation and the advice that follows."""

from fleet.limits.advise import Advice, advise
from fleet.limits.card import CARD_VERSION, FUEL_CLASSES, Card, card
from fleet.limits.decision import acceptance_limits, conformance_probability, decide, guard_factor
from fleet.limits.evaluate import evaluate
from fleet.limits.rows import SEVERITIES
from fleet.limits.standing import standing
from fleet.limits.tolerance import Band, band
from fleet.limits.verdicts import Verdict, Verdicts

__all__ = [
    "CARD_VERSION",
    "FUEL_CLASSES",
    "SEVERITIES",
    "Advice",
    "Band",
    "Card",
    "Verdict",
    "Verdicts",
    "acceptance_limits",
    "advise",
    "band",
    "card",
    "conformance_probability",
    "decide",
    "evaluate",
    "guard_factor",
    "standing",
]
