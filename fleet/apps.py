"""The Django application: triggers after every migration, checks at every start."""

from django.apps import AppConfig
from django.core.checks import register
from django.db.models.signals import post_migrate

from fleet import refusal_words

refusal_words.use_own_words()


class FleetConfig(AppConfig):
    name = "fleet"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from fleet import append_only, logs, migration_history

        logs.configure()
        post_migrate.connect(append_only.install_after_migrating, sender=self)
        register(append_only.check_triggers, "database")
        register(migration_history.check_history, "database")
