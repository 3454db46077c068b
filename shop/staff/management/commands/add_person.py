from getpass import getpass

from django.core.exceptions import ValidationError
from django.core.management import BaseCommand, CommandError
from django.utils import timezone

from shop.staff.models import Role
from shop.staff.services import create_user


class Command(BaseCommand):
    help = "Add somebody who works in the shop: first a manager, who adds the others on the staff page."

    def add_arguments(self, parser):
        parser.add_argument("--username", help="asked for when not given")
        parser.add_argument("--name", help="first and last name, asked for when not given")
        parser.add_argument("--role", choices=Role.values, default=Role.MANAGER)

    def handle(self, username=None, name=None, role=Role.MANAGER, **options):
        username = username or input("Log-in name: ")
        first_name, _, last_name = (name or input("First and last name: ")).strip().partition(" ")
        try:
            create_user(
                username=username,
                password=getpass("Password: "),
                role=role,
                first_name=first_name,
                last_name=last_name,
                by="command line",
                at=timezone.now(),
            )
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        self.stdout.write(f"{username} can log in as {Role(role).label.lower()}.")
