"""Web, worker and clock under one supervisor."""

import os
import sys
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core import checks
from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from fleet.management.supervisor import Child, Supervisor
from fleet.models import Contractor
from fleet.web.beginning import LOOPBACK, make_code
from fleet.worker import DEAF, WORN


class Command(BaseCommand):
    help = "Run the service: web, worker and clock. Ctrl-C stops all three within 5 s."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default=settings.BIND_HOST)
        parser.add_argument("--port", type=int, default=settings.BIND_PORT)
        parser.add_argument("--tls-cert", help="certificate file; with --tls-key the pages are served by https")
        parser.add_argument("--tls-key")

    def handle(self, *_args: Any, host: str, port: int, tls_cert: str, tls_key: str, **_options: Any) -> None:
        if faults := [each for each in checks.run_checks(databases=["default"]) if each.is_serious()]:
            raise CommandError("\n".join(str(each) for each in faults))
        executor = MigrationExecutor(connection)
        if executor.migration_plan(executor.loader.graph.leaf_nodes()):
            raise CommandError(
                "The database isn't ready for this version. A new installation: manage.py set_up --in-browser, or "
                "--demo. An older one: keep a copy, then manage.py migrate."
            )
        contractor = Contractor.objects.filter(id=1).first()
        scheme = "https" if tls_cert and tls_key else "http"
        if contractor is None and not (host in LOOPBACK or scheme == "https" or settings.HTTPS):
            raise CommandError("An installation begins on this machine or over https; or run manage.py set_up first.")
        if contractor and contractor.is_demo and host not in LOOPBACK:
            raise CommandError(f"The demo answers on this machine only; {host} is refused.")
        # Where no other is set, links name the address that is listened on.
        os.environ.setdefault("FLEET_PUBLIC_ADDRESS", f"{scheme}://{host}:{port}")
        web = ["gunicorn", "fleet.wsgi:application", "--bind", f"{host}:{port}", "--threads", str(settings.WEB_THREADS)]
        web += ["--workers", str(settings.WEB_PROCESSES)]
        web += ["--worker-class", "gthread", "--graceful-timeout", "3", "--log-level", "warning", "--preload"]
        if tls_cert and tls_key:
            web += ["--certfile", tls_cert, "--keyfile", tls_key]
        worker = ["celery", "-A", "fleet.worker", "worker", "-P", "threads", "-c", "2", "-l", "WARNING"]
        worker += ["--without-gossip", "--without-mingle", "--without-heartbeat"]
        children = [
            Child("web", [sys.executable, "-m", *web]),
            Child("worker", [sys.executable, "-m", *worker], renews=frozenset({DEAF, WORN})),
            Child("clock", [sys.executable, "manage.py", "clock"]),
        ]
        whose = contractor.name if contractor else "A new installation"
        self.stdout.write(f"{whose}: {scheme}://{host}:{port}/  (Ctrl-C stops)")
        if contractor is None:
            self.stdout.write(f"Open it in a browser to begin. The code, which works once: {make_code()}")
        elif contractor.is_demo:
            self.stdout.write(
                f"Demonstration: everything in it is invented. Accounts: {settings.VAR_DIR}/demo-accounts.txt"
            )
            accounts = settings.VAR_DIR / "demo-accounts.txt"
            if accounts.exists():
                self.stdout.write(accounts.read_text())
        self.stdout.flush()
        sys.exit(Supervisor(children, lambda said: self.stderr.write(said)).run())
