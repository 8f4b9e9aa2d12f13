"""Migrate as the owner of the tables, and let the application's own role read and write rows but alter nothing."""

from typing import Any

import environ
from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connections
from psycopg import sql

from fleet import append_only
from fleet.migration_history import refuse_unknown_history


class Command(BaseCommand):
    help = "Served shape: migrate over FLEET_DATABASE_OWNER_URL, then grant FLEET_APP_ROLE its rights on rows."

    def handle(self, *_args: Any, **_options: Any) -> None:
        if not settings.DATABASE_OWNER_URL:
            raise CommandError("FLEET_DATABASE_OWNER_URL is empty; it must name the owner of the tables.")
        connections.databases["owner"] = connections.databases["default"] | environ.Env.db_url_config(
            settings.DATABASE_OWNER_URL
        )
        refuse_unknown_history("owner")
        call_command("migrate", database="owner", verbosity=0)
        call_command("collectstatic", interactive=False, verbosity=0)
        if settings.APP_ROLE:
            self._grant(settings.APP_ROLE, settings.APP_ROLE_PASSWORD)

    def _grant(self, role: str, password: str) -> None:
        with connections["owner"].cursor() as cursor:
            cursor.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", [role])
            if cursor.fetchone() is None:
                made = sql.SQL("CREATE ROLE {} LOGIN PASSWORD {}").format(sql.Identifier(role), sql.Literal(password))
                cursor.execute(made)
            name = sql.Identifier(role)
            for grant in (
                "GRANT USAGE ON SCHEMA public TO {}",
                "GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO {}",
                "GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO {}",
            ):
                cursor.execute(sql.SQL(grant).format(name))
            for table in append_only.TABLES:
                revoke = sql.SQL("REVOKE UPDATE, DELETE, TRUNCATE ON {} FROM {}")
                cursor.execute(revoke.format(sql.Identifier(table), name))
        self.stdout.write(f"Migrated; {role} may read and write rows, and only append records.")
