"""The words of the trade and our own, one meaning each, for whoever reads a page, a paper or the API."""

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _


@dataclass(frozen=True)
class Term:
    """A word and what we mean by it. anchor: its address on the page, which stays."""

    anchor: str
    word: str | Promise
    meaning: str | Promise


@dataclass(frozen=True)
class Chapter:
    title: str | Promise
    terms: tuple[Term, ...]


CHAPTERS = (
    Chapter(_("The test"), (
        Term("as-found", _("as found, as left"), _(
            "Readings before anything was touched, and after the last work that moves combustion. What was read "
            "between the two counts for neither."
        )),
        Term("high-fire", _("high fire, low fire"), _(
            "The highest and the lowest firing rate of an appliance. A settings sheet lists its rates from the "
            "highest."
        )),
        Term("proven-rate", _("proven rate"), _(
            "The firing rate was seen on the display, by the fan's speed or by a timed meter. At an unproven rate "
            "a reading is held against ceilings only, not against the target."
        )),
        Term("steady", _("steady"), _(
            "What the analyser logged had come to rest. Where a series is on record it counts before the word."
        )),
        Term("excess-air", _("excess air"), _(
            "The air supplied beyond what the fuel needs to burn; a ratio of 1.25 is a quarter more than needed."
        )),
        Term("co-air-free", _("CO air-free"), _(
            "CO as it would read with all excess air taken out, so that a diluted sample can't hide it."
        )),
        Term("ratio", _("CO/CO2 ratio"), _("CO over CO2, both as parts of the same dry flue gas.")),
        Term("invalid-reading", _("invalid reading"), _(
            "A reading that can explain or clear nothing, because something about it is doubtful. What it shows "
            "against the appliance still counts."
        )),
        Term("declared-unsafe", _("declared unsafe"), _(
            "The person at the appliance found it dangerous and said so. Only a qualified person closes that, after a "
            "new test or once the appliance is gone."
        )),
        Term("inspection-point", _("inspection point"), _(
            "Something that is looked at rather than measured: flue, air, tightness, safety devices, seals."
        )),
        Term("data-plate", _("data plate"), _("The plate on the appliance with its make, model and serial number.")),
    )),
    Chapter(_("Limits"), (
        Term("settings-sheet", _("settings sheet"), _(
            "The manufacturer's targets and tolerances for a model at each firing rate, its adjusters, and which way "
            "each raises CO2."
        )),
        Term("limit-set", _("limit set"), _(
            "Limits of one source (a law, a standard, a contract) in numbered versions. It says how well it was "
            "checked, and whether a named person has reviewed it."
        )),
        Term("text-read", _("official text read, quoted elsewhere, unverified"), _(
            "How well a figure of a limit set is known: whoever entered it read the text of the document itself, or "
            "something that quotes it, or checked it against no text. A named person's review comes on top of that."
        )),
        Term("assignment", _("assignment"), _(
            "Which limit set applies to a client, a building or an appliance, since when, and who decided it."
        )),
        Term("stop-level", _("stop level, investigate level"), _(
            "The contractor's own levels of CO: from the one the cause is looked for, at the other firing ends, "
            "whatever else is known."
        )),
        Term("within", _("within, outside"), _(
            "Within: everything that this sheet or set asks for was read and keeps its limit. Outside: something "
            "doesn't. Both are of the limits as recorded, and no word on anything else."
        )),
        Term("incomplete", _("incomplete"), _(
            "Not everything that was asked for was read, so that it can't be called within; what is missing is named."
        )),
        Term("uncertainty", _("uncertainty"), _(
            "How far a reading may be off by the analyser's own accuracy and its calibration, given so that the "
            "true value lies within it nineteen times in twenty."
        )),
    )),
    Chapter(_("When somebody must come"), (
        Term("required-check", _("required check"), _(
            "An appliance under one rule (a limit set's, the contract's or the manufacturer's) that asks for a check "
            "by a date. No rule replaces another."
        )),
        Term("counts", _("counts, doesn't count"), _(
            "A check counts for a rule where its record has every field that the rule makes mandatory. One that "
            "doesn't count was made and kept, but moves no date; what it lacks is named."
        )),
        Term("next-visit", _("next visit, planned visit"), _(
            "The day by which an appliance should be seen, by the earliest of all reasons; planned once a day is "
            "booked for it."
        )),
        Term("booked", _("booked, confirmed"), _(
            "A day that the office chose, and one that the occupier has agreed to. Neither moves by itself."
        )),
        Term("drift", _("drift"), _("How a reading wanders between visits though nobody turned anything.")),
        Term("forecast", _("forecast"), _(
            "The chance that a reading is outside a limit by a day, worked out from the appliance's own records "
            "and those of its like; always less than certain."
        )),
        Term("accepted-risk", _("accepted risk"), _(
            "The chance of being outside that the contractor accepts before somebody goes, set on the planning "
            "settings."
        )),
        Term("forecast-accuracy", _("forecast accuracy"), _(
            "What was forecast before each visit, held against what was then read."
        )),
        Term("out-of-use", _("out of use"), _(
            "A recorded stretch in which an appliance isn't used. Its required checks wait, and fall due after the "
            "restart."
        )),
        Term("no-access", _("no access"), _(
            "Somebody came and could not get to the appliance: when, why, and the letter or picture that shows it."
        )),
        Term("tenancy", _("tenancy"), _("The day on which somebody new moves in. No tenant's name is kept.")),
    )),
    Chapter(_("The office and the record"), (
        Term("flag", _("flag"), _(
            "Something about an appliance that needs a person, with its reason; it stays open until it is closed with "
            "a reason."
        )),
        Term("alert", _("alert"), _(
            "One person alerted of one flag at once, and again until a named person answers for it."
        )),
        Term("daily-summary", _("daily summary"), _("Everything else that is new, in one message a day.")),
        Term("question", _("question for the office"), _(
            "Something odd about an accepted visit. The visit stands; a person says what came of it."
        )),
        Term("unreadable-record", _("unreadable record"), _(
            "A message from the field that could not be read. It is kept until somebody has corrected it."
        )),
        Term("defect", _("defect, repair"), _("Something found wrong, how grave, and by when it is to be repaired.")),
        Term("delivery", _("delivery"), _("Who must receive a record, by when, how it was sent, and the proof.")),
        Term("record", _("record, correction"), _(
            "What was sent, kept for good with its hash. Nothing in it is changed: a correction is a record of its own "
            "that names the first."
        )),
        Term("evidence", _("evidence"), _(
            "A record proves something where the person was qualified and the analyser in calibration on the day."
        )),
    )),
)  # fmt: skip
