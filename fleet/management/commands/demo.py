"""The main job in one command: an invented fleet's sheets in, its watch list served. Safe to run again."""

import hashlib
import json
import shlex
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any
from wsgiref.simple_server import WSGIServer

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.core.servers.basehttp import ThreadedWSGIServer, WSGIRequestHandler
from django.db import transaction

from fleet import demonstration
from fleet.importing.kept_files import keep_plan
from fleet.importing.reading_plans.reading_plan import plan_of
from fleet.models import Account, Role, Sheet
from fleet.plant.acts import COMMAND_LINE
from fleet.plant.people import add_account, give_role, person_named
from fleet.web.passwords import one_time_password

SHEETS = settings.CHECKOUT / "fixtures" / "demo"
HOST = "127.0.0.1"
TURNED_OFF = (
    "cookies marked Secure, with __Host- names",
    "the redirect to https",
    "strict transport security (HSTS)",
    "compressed, hashed static files: they come straight from the packages",
)


class Command(BaseCommand):
    help = (
        "Import the invented fleet of fixtures/demo into a database file of its own, forecast it and"
        " serve it."
    )
    # The record's file may not be there yet; `migrate` looks at everything.
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help=f"port on {HOST} (8000)")
        parser.add_argument("--no-serve", action="store_true", help="stop before the site is served")

    def handle(self, *args: Any, port: int, no_serve: bool, **_: Any) -> None:
        record = own_record()
        # Taken first: a port in use is told before the minutes of work, not after.
        server = None if no_serve else listening(port)
        self.stdout.write(
            f"The demo's record: {record}. Without TLS, for this machine only. Turned off for it:"
        )
        for what in TURNED_OFF:
            self.stdout.write(f"  {what}")
        call_command("migrate", verbosity=0)
        self.import_sheets()
        for sentence in demonstration.act_all():
            self.stdout.write(sentence)
        self.stdout.write(
            "manage.py forecast --if-needed (its loops are compiled once, which takes a minute)"
        )
        call_command("forecast", "--if-needed", stdout=self.stdout)
        self.stdout.write("manage.py plan --if-needed")
        call_command("plan", "--if-needed", stdout=self.stdout)
        self.stdout.write("Sign-ins, made anew at every start:")
        for role, password in fresh_sign_ins().items():
            self.stdout.write(f"{role} {password}")
        if server:
            self.serve(server, port)

    def import_sheets(self) -> None:
        """Each sheet by the very command a plant would use; one that is there already is not read again."""
        manifest = json.loads((SHEETS / "manifest.json").read_text("utf-8"))
        for name, file in manifest["plans"].items():
            plan = plan_of(json.loads((SHEETS / file).read_text("utf-8")))
            kept = keep_plan(name, plan, by=person_named(COMMAND_LINE).id)
            self.stdout.write(f"Reading plan '{name}', version {kept.version}, from {file}")
        for sheet in manifest["files"]:
            path = SHEETS / sheet["file"]
            digest = hashlib.sha256(path.read_bytes()).hexdigest()
            if Sheet.objects.standing().filter(file=digest).exists():
                self.stdout.write(f"{sheet['file']} was imported before")
                continue
            self.stdout.write(shlex.join(["manage.py", sheet["command"], sheet["file"], *sheet["options"]]))
            call_command(sheet["command"], str(path), *sheet["options"], stdout=self.stdout)

    def serve(self, server: WSGIServer, port: int) -> None:
        from fleet.wsgi import application

        server.set_app(application)
        worker = subprocess.Popen([sys.executable, str(settings.CHECKOUT / "manage.py"), "worker"])
        # Asked to stop by the system rather than the keyboard, the worker must go too.
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
        self.stdout.write(f"http://{HOST}:{port}/ (stop with Ctrl-C)")
        try:
            server.serve_forever()
        except KeyboardInterrupt:
            self.stdout.write("Stopped. The record stays; start again with the same line.")
        finally:
            worker.terminate()
            worker.wait()
            server.server_close()


def own_record() -> Path:
    """The demo's own file; invented bearings must never stand in a plant's record."""
    name = Path(str(settings.DATABASES["default"]["NAME"]))
    if name.name != "demo.sqlite3" or not settings.PLAIN_HTTP:
        raise CommandError("demo keeps a record of its own: start it as `manage.py demo`.", returncode=2)
    return name


def listening(port: int) -> WSGIServer:
    """A server that has its port and answers once it has the site."""
    try:
        return ThreadedWSGIServer((HOST, port), WSGIRequestHandler)
    except (OSError, OverflowError) as trouble:
        raise CommandError(
            f"Port {port} cannot be had ({trouble}). Stop what uses it, or give another: --port 8001.",
            returncode=2,
        ) from None


def fresh_sign_ins() -> dict[str, str]:
    """One account for each role, named by the role's own word, at all sites, each with a new password."""
    passwords = {str(role): one_time_password() for role in Role.Word.values}
    with transaction.atomic():
        by = person_named(COMMAND_LINE)
        for role, password in passwords.items():
            account = Account.objects.filter(username=role).select_related("person").first()
            if account is None:
                person = person_named(role, by=by.id)
                account = add_account(
                    person=person,
                    username=role,
                    password=password,
                    must_change_password=False,
                    check=False,
                    by=by.id,
                )
            account.set_password(password)
            account.save(update_fields=["password"])
            give_role(person=account.person, role=role, by=by.id)
    return passwords
