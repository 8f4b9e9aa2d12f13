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
    "natural_gas_l": gettext_noop("low-calorific natural gas (G25)"),
    "natural_gas_10_h2": gettext_noop("natural gas with 10 % hydrogen"),
    "natural_gas_20_h2": gettext_noop("methane with 20 % hydrogen"),
    "natural_gas_30_h2": gettext_noop("natural gas with 30 % hydrogen"),
    "lpg": gettext_noop("LPG"),
    # Where a limit set is in force.
    "CA-ON": gettext_noop("Ontario, Canada"),
    "DE": gettext_noop("Germany"),
    "EU": gettext_noop("European Union"),
    "FR": gettext_noop("France"),
    "GB": gettext_noop("Great Britain"),
    "GB-EAW": gettext_noop("England and Wales"),
    "IT": gettext_noop("Italy"),
    "US": gettext_noop("United States"),
    "US-CA-SCAQMD": gettext_noop("South Coast air district, California"),
    "US-CA-SDAPCD": gettext_noop("San Diego County air district, California"),
    "US-NJ": gettext_noop("New Jersey"),
    "US-NY": gettext_noop("New York State"),
    "US-NYC": gettext_noop("New York City"),
    "any": gettext_noop("anywhere"),
}


def code_words(code: str) -> str:
    """
    >>> code_words("as_found"), code_words("by_the_sites_controls")
    ('as found', "by the site's controls")
    """
    return _(WORDS[code]) if code in WORDS else code.replace("_", " ")
