from django.urls import path

from shop.urls import *  # noqa: F403
from shop.urls import urlpatterns as pages
from tests.bench import day, lists, picks

urlpatterns = [
    path("bare/orders/", lists.bare_orders),
    path("bare/day/", day.bare_day),
    path("bare/picks/", picks.bare_picks),
    *pages,
]
