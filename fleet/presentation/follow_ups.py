"""What flags and marks say: a code and its figures where a rule opened them, else the words that were recorded."""

from fleet.models import Flag, Question
from fleet.presentation.forecasts import drift_words, ended_words, warning_words

EARLY_WARNING = "repeat_"


def flag_words(flag: Flag) -> str:
    """What is the matter."""
    return drift_words(flag.figures) if flag.kind == Flag.Kind.DRIFT else flag.sentence


def closed_words(flag: Flag) -> str:
    """Why it was closed; empty while it is open."""
    return ended_words(flag.closed_figures) if "why" in flag.closed_figures else flag.closed_why


def mark_words(mark: Question) -> str:
    """What the office is asked to look at."""
    return warning_words(mark.figures) if mark.code.startswith(EARLY_WARNING) else mark.sentence
