from django.conf import settings
from django.urls import reverse

# Label, URL name, ability: the pages that the top bar leads to.
PLACES = [
    ("Today", "desk:day", "look"),
    ("Orders", "desk:orders", "look"),
    ("Pick list", "desk:picks", "look"),
    ("Customers", "desk:customers", "look"),
    ("Bench", "tablet:bench", "work"),
    ("Catalogue", "manage:catalogue", "look"),
    ("Spec table", "manage:sheets", "look"),
    ("Stock", "manage:stock", "look"),
    ("Buying", "manage:buying", "look"),
    ("Reminders", "manage:reminders", "look"),
    ("Files", "manage:exchange", "exchange"),
    ("Staff", "manage:staff", "keep_staff"),
]


def shop(request):
    """The shop's own data and the places this person may go to."""
    user = getattr(request, "user", None)
    nav = []
    if user and user.is_authenticated:
        for label, name, ability in PLACES:
            if user.may(ability):
                url = reverse(name)
                nav.append((label, url, request.path.startswith(url) if url != "/" else request.path == "/"))
    return {"shop": settings.SHOP, "nav": nav, "demo": settings.DEMO}
