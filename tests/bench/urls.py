from django.urls import path

from shop.urls import *  # noqa: F403
from shop.urls import urlpatterns as pages
from tests.bench import lists, picks

urlpatterns = [path("bare/orders/", lists.bare_orders), path("bare/picks/", picks.bare_picks), *pages]
