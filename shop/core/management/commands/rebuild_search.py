from django.core.management.base import BaseCommand, CommandError

from shop.core.search import index


class Command(BaseCommand):
    help = "Write everything the search finds by anew, from the tables; --check only tells whether it is in step."

    def add_arguments(self, parser):
        parser.add_argument("--check", action="store_true", help="Change nothing; end with 1 when something is astray.")

    def handle(self, *args, check, **options):
        if not check:
            self.stdout.write(f"{index.rebuild()} search entries are written anew.")
        elif wrong := index.astray():
            raise CommandError(f"{wrong} search entries are not as they should be. Run rebuild_search without --check.")
        else:
            self.stdout.write("The search entries are in step with the book.")
