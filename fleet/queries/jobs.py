"""Background work, for whoever runs the installation."""

from django.db.models import QuerySet

from fleet.models import Job, Role, User


def visible_jobs(viewer: User) -> QuerySet[Job]:
    if not viewer.is_authenticated or viewer.role != Role.MANAGER:
        return Job.objects.none()
    return Job.objects.all()
