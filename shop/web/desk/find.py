"""What the desk's searches show beside what the finding functions of the domain answer."""

from django.db.models import Prefetch, prefetch_related_objects

from shop.customers.models import Vehicle
from shop.dampers.models import Damper, DamperModel
from shop.web.pages import having_words
from shop.workorders import finding


def customers(text: str):
    """(customers, words): those who say every word, with their vehicles; words tell when they are only alike."""
    found, alike = finding.customers(text)
    kept = Vehicle.objects.filter(sold_on=None).select_related("model")
    return found.prefetch_related(Prefetch("vehicles", kept, to_attr="vehicles_kept")), only_alike(text, alike)


def orders(text: str, rows):
    """(orders, words): those that say every word; words tell when they are only alike."""
    found, alike = finding.orders(text, rows)
    return found, only_alike(text, alike)


def only_alike(text: str, alike: list[str]) -> str:
    return finding.alike_in_words([text.strip()], alike)


def with_not_serviced(customers):
    """Customers with the dampers of theirs that this shop does not service."""
    return customers.prefetch_related(_theirs_not_serviced())


def note_not_serviced(rows):
    """The same for customers that were read already."""
    prefetch_related_objects(rows, _theirs_not_serviced())


def _theirs_not_serviced():
    return Prefetch("dampers", not_serviced().exclude(vehicle__sold_on__isnull=False), to_attr="not_serviced")


def not_serviced():
    """Dampers that this shop does not service, one model after the other."""
    return Damper.objects.filter(model__serviceable=False).select_related("model").order_by("model", "pk")


def damper_models(text: str):
    """Damper models of whose maker or name every word is a part: for who asks whether this shop services one."""
    return having_words(DamperModel.objects.all(), text, "maker", "name")
