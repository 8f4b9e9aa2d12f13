"""What flags and questions say: made of their codes and figures, but for what a person wrote."""

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext as _

from fleet.limits import Verdict
from fleet.models import Flag, Question
from fleet.presentation.days import said_day
from fleet.presentation.diagnoses import PATTERN, pattern_question_words
from fleet.presentation.figures import chance_words
from fleet.presentation.forecasts import drift_words, warning_words
from fleet.presentation.questions import oddity_words
from fleet.presentation.verdicts import verdict_sentence

EARLY_WARNING = "repeat_"


def flag_words(flag: Flag) -> str:
    """What is the matter."""
    return drift_words(flag.figures) if flag.kind == Flag.Kind.DRIFT else found_words(flag.figures, flag.sentence)


def found_words(figures: Mapping[str, Any], written: str) -> str:
    """Of a flag that a visit or a message opened. written : what the technician wrote, empty for none."""
    if "verdict" in figures:
        said = verdict_sentence(Verdict(figures["verdict"]))
        return _("%s Put right at the same visit.") % said if figures.get("put_right") else said
    if "unreadable_record" in figures:
        return _("Declared unsafe in a message that could not be read; the message is kept to be corrected.")
    said = written or _("declared unsafe by the technician")
    if "shares_flue_with" not in figures:
        return said
    shown = {"name": figures["shares_flue_with"], "said": said}
    return _("Shares its flue with %(name)s, which was declared unsafe: %(said)s") % shown


def closed_words(flag: Flag) -> str:
    """Why it was closed; empty while it is open."""
    figures = flag.closed_figures
    if "why" not in figures:
        return flag.closed_why
    said = {
        "within_again": _("Within at the visit of %(day)s."),
        "set_ended": _("The set no longer applies to the appliance."),
        "out_of_service": _("The appliance was taken out of service on %(day)s."),
        "visit_moved": _("The visit was another appliance's; it was moved by a correction."),
        "series_ended": _("The series has ended."),
        "from_assumptions": _("The forecast rests on assumptions: it opens no flag."),
        "chance_fell": _("The chance before the next planned visit is now %(chance)s."),
    }
    shown = {"day": said_day(figures.get("day", "")), "chance": chance_words(figures.get("chance", 0.0))}
    return said[figures["why"]] % shown


def question_words(question: Question) -> str:
    """What the office is asked to look at."""
    if question.code.startswith(EARLY_WARNING):
        return warning_words(question.figures)
    said = pattern_question_words if question.code.startswith(PATTERN) else oddity_words
    return said(question.code, question.figures)
