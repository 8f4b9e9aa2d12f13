"""People who do the work, seen by everybody who reads records."""

from django.db.models import QuerySet

from fleet.models import Person, User


def visible_people(viewer: User) -> QuerySet[Person]:
    if not viewer.is_active:
        return Person.objects.none()
    return Person.objects.select_related("user").prefetch_related("qualifications")
