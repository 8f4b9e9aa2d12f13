"""What was wrong with an unreadable message, kept as English until now, as code and figures."""

from typing import Any

from django.db import migrations


def _as_codes(apps: Any, _schema_editor: Any) -> None:
    for held in apps.get_model("fleet", "UnreadableRecord").objects.only("id", "errors"):
        if any(isinstance(said, str) for said in held.errors.values()):
            held.errors = {
                path: ["as_said", {"said": said}] if isinstance(said, str) else said
                for path, said in held.errors.items()
            }
            held.save(update_fields=["errors"])


class Migration(migrations.Migration):
    dependencies = [("fleet", "0003_audit_trail")]
    operations = [migrations.RunPython(_as_codes, migrations.RunPython.noop)]
