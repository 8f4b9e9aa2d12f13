"""Django's own command; the new password stands on the audit trail too."""

import getpass
from typing import Any

from django.contrib.auth.management.commands import changepassword

from fleet import clock
from fleet.models import User
from fleet.services.audit import note_change


class Command(changepassword.Command):
    def handle(self, *args: Any, **options: Any) -> str:
        said = super().handle(*args, **options)
        user = User.objects.get(username=options["username"] or getpass.getuser())
        note_change(user=user, actor=None, now=clock.now(), code="password_set")
        return str(said)
