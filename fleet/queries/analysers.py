"""Analysers and their calibrations, seen by everybody who reads records."""

from django.db.models import QuerySet

from fleet.models import Analyser, User


def visible_analysers(viewer: User) -> QuerySet[Analyser]:
    if not viewer.is_active:
        return Analyser.objects.none()
    return Analyser.objects.prefetch_related("calibrations")
