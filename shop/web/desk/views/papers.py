"""Everything that is printed, and the page that a card's code leads to."""

from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe

from shop.documents import services as documents
from shop.web.access import allow
from shop.web.desk.views.booking import trail_to
from shop.web.pages import show
from shop.workorders.models import WorkOrder


def paper(title, make):
    """A view of the PDF that make(order) gives; what cannot be printed yet gives a page that says why (409)."""

    @require_safe
    @allow("look")
    @cache_control(private=True, no_store=True)
    def view(request, pk):
        order = get_object_or_404(WorkOrder.objects.with_names(), pk=pk)
        try:
            made = make(order)
        except ValidationError as error:
            context = {"order": order, "trail": trail_to(order), "title": title, "why": error.messages}
            return show(request, "desk/no_paper.html", context, status=409)
        headers = {"Content-Disposition": f'inline; filename="{made.filename}"'}
        return HttpResponse(made.pdf, content_type="application/pdf", headers=headers)

    return view


job_card = paper("Job card", lambda order: documents.job_card(order=order, at=timezone.now()))
pick_list_pdf = paper("Pick list", lambda order: documents.pick_list_paper(order=order, at=timezone.now()))
bag_tags = paper("Bag tags", lambda order: documents.bag_tags(order=order))
service_record = paper("Service record", lambda order: documents.service_record(order=order))


@require_safe
@allow("look")
def card_check(request, pk, revision, digest):
    """Whether the card in somebody's hand still says what the shop's book says."""
    order = get_object_or_404(WorkOrder.objects.with_names(), pk=pk)
    state = documents.card_state(order=order, revision=revision, digest=digest)
    return show(request, "desk/card_check.html", {"order": order, "state": state, "revision": revision})
