"""Who may log in, in which role, and for which clients; and the tokens of other programs."""

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.utils.translation import gettext_lazy as _
from knox.models import AbstractAuthToken

from fleet.models.register import new_id


class Role(models.TextChoices):
    TECHNICIAN = "technician", _("technician")
    DISPATCHER = "dispatcher", _("dispatcher")
    MANAGER = "manager", _("manager")
    AUDITOR = "auditor", _("auditor")


class User(AbstractUser):
    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    role = models.CharField(max_length=20, choices=Role.choices)
    sees_all_clients = models.BooleanField(default=False)
    clients = models.ManyToManyField("fleet.Client", blank=True, related_name="viewers")

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(role__in=Role.values), name="user_role_is_known")]

    def __str__(self) -> str:
        return self.get_full_name() or self.username


class ApiToken(AbstractAuthToken):
    """Another program's key: hashed at rest, shown once, expires; `read` can't change anything."""

    class Scope(models.TextChoices):
        READ = "read", _("read")
        WRITE = "write", _("read and write")

    name = models.CharField(max_length=100)
    scope = models.CharField(max_length=10, choices=Scope.choices, default=Scope.READ)
