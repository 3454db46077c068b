"""What several of the desk's pages about orders share."""

from django.db.models import Prefetch
from django.urls import reverse

from shop.web.pages import show
from shop.workorders.models import DamperJob, JobStatus


def with_running_jobs(dampers):
    """Dampers with the orders that they are in now."""
    running = DamperJob.objects.filter(status__in=[JobStatus.BOOKED, JobStatus.OPEN]).select_related("order")
    return dampers.select_related("model", "vehicle").prefetch_related(Prefetch("jobs", running, to_attr="running"))


def not_now(request, order, rule):
    """The order is not in the state that the page is for: say so, and where to go on (409)."""
    context = {"order": order, "rule": rule, "trail": trail_to(order)}
    return show(request, "desk/not_now.html", context, status=409)


def trail_to(order):
    return [("Orders", reverse("desk:orders")), (order, order.get_absolute_url())]
