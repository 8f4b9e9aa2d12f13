"""Attempts without access as a viewer may see them, and one told in a sentence."""

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet.intervals.dates import spoken
from fleet.models import NoAccess, User
from fleet.queries.access import visible_clients


def visible_no_access(viewer: User) -> QuerySet[NoAccess]:
    mine = NoAccess.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building", "by").prefetch_related("files__uploaded_by")


def attempt_words(attempt: NoAccess) -> str:
    """Evidence of reasonable steps: when somebody came, why they didn't get in, what they left, and who says so."""
    said = [f"{spoken(attempt.local_date)}: {attempt.get_kind_display()}"]
    if attempt.note:
        said.append(attempt.note)
    if attempt.letter:
        said.append(_("letter: %s") % attempt.letter)
    if count := len(attempt.files.all()):
        said.append(ngettext("%d file beside it", "%d files beside it", count) % count)
    return _("%(what)s, says %(who)s.") % {"what": "; ".join(said), "who": attempt.by}
