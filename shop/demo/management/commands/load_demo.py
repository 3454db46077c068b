from django.core.management import BaseCommand
from django.utils import timezone

from shop.demo import scenario


class Command(BaseCommand):
    help = "Load the demo shop, once; a shop that has it already is left as it is."

    def handle(self, **options):
        new = scenario.load(timezone.now())
        self.stdout.write("The demo shop is loaded." if new else "The demo shop is there already; its data is kept.")
