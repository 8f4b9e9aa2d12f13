"""The words for the codes that rows, records and the API keep; a code without a word of its own is said as spelt."""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

WORDS = {
    "email": gettext_noop("e-mail"),
    "analyser_print_out": gettext_noop("analyser print-out"),
    "self_adapting": gettext_noop("self-adapting"),
    "by_the_sites_controls": gettext_noop("by the site's controls"),
    "cannot_tell": gettext_noop("can't be decided"),
    "does_not_apply": gettext_noop("doesn't apply"),
    "urgent": gettext_noop("urgent repair"),
    "installation_on": gettext_noop("day of installation"),
    "output_kw_sum": gettext_noop("output of all together"),
    "co2": gettext_noop("CO₂"),
    "isolated": gettext_noop("isolated and labelled"),
}


def code_words(code: str) -> str:
    """
    >>> code_words("as_found"), code_words("by_the_sites_controls")
    ('as found', "by the site's controls")
    """
    return _(WORDS[code]) if code in WORDS else code.replace("_", " ")
