"""Buying: what is short, what is on its way, purchase orders and their deliveries."""

from urllib.parse import quote

from django.conf import settings
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Prefetch
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse_lazy
from django.utils import timezone
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_POST, require_safe

from shop.calc.intervals import day_in_words
from shop.core.clock import local_day
from shop.documents import services as documents
from shop.parts import services
from shop.parts.models import (
    Part,
    PurchaseLine,
    PurchaseOrder,
    PurchaseStatus,
    ReceiptLine,
    SentHow,
    Supplier,
    SupplierItem,
)
from shop.parts.selectors import stock_of
from shop.parts.workdays import day_name, delivery_day
from shop.staff.models import AuditEntry
from shop.web.access import allow
from shop.web.forms import FindForm, submit
from shop.web.manage import buying_forms as forms
from shop.web.pages import having_words, number, page_of, sent, show, show_form
from shop.workorders.purchases import late_deliveries, to_buy, waited_for, waits_for
from shop.workorders.services import hold_for_waiting

BUYING = ("Buying", reverse_lazy("manage:buying"))
SUPPLIERS = [BUYING, ("Suppliers", reverse_lazy("manage:suppliers"))]
PURCHASES = [BUYING, ("Purchase orders", reverse_lazy("manage:purchases"))]


@require_safe
@allow("look")
def buying(request):
    now = timezone.now()
    found, may_order = to_buy(now=now), request.user.may("keep_stock")
    running = in_full().filter(status__in=[PurchaseStatus.DRAFT, PurchaseStatus.SENT, PurchaseStatus.IN_PART])
    orders = [row_of(order, local_day(now)) for order in running]
    context = {
        "suppliers": [_suggested(one) for one in found.suppliers],
        "unsold": found.unsold,
        "unlisted": found.unlisted,
        "covered": found.covered,
        "drafts": [one for one in orders if one["order"].status == PurchaseStatus.DRAFT],
        "coming": [one for one in orders if one["order"].running],
        "late": late_deliveries(local_day(now)),
        "currency": settings.CURRENCY,
        "may_order": may_order,
    }
    return show(request, "manage/buying/buying.html", context)


def _suggested(one):
    """What to buy from one supplier, with the form that drafts it."""
    items = [buy.item for row in one.rows for buy in row.buys]
    units = {buy.item.pk: buy.units for row in one.rows for buy in row.buys}
    form = forms.DraftForm(items=items, units=units, auto_id=f"id_{one.supplier.pk}_%s")
    fields = {item.pk: field for item, field in form.rows}
    rows = [(row, [(buy, fields[buy.item.pk]) for buy in row.buys]) for row in one.rows]
    return {"from": one, "form": form, "rows": rows, "delivers": day_name(one.delivers_on)}


# --- purchase orders


def in_full():
    """Orders with all that their rows say, in three queries."""
    lines = PurchaseLine.objects.with_received().select_related("item__container", "part", "order")
    return PurchaseOrder.objects.select_related("supplier", "sent_by", "made_by").prefetch_related(
        Prefetch("lines", lines.order_by("pk"))
    )


def row_of(order, today):
    lines = list(order.lines.all())
    nets = [line.net for line in lines]
    return {
        "order": order,
        "what": ", ".join(f"{line.units} × {line.part.name}" for line in lines),
        "words": _state(order, lines),
        "late": order.running and order.late(today),
        "total": None if None in nets else sum(nets),
    }


def _state(order, lines):
    """What an order waits for, in words."""
    if order.status == PurchaseStatus.DRAFT:
        return "Draft: nothing is ordered yet."
    if order.status == PurchaseStatus.CALLED_OFF:
        return f"Called off: {order.ended_why}"
    when = day_in_words(local_day(order.sent_at))
    out = f"Sent {order.get_sent_how_display()} on {when} by {order.sent_by}."
    if order.status == PurchaseStatus.CLOSED:
        rest = f" Rest called off: {order.ended_why}" if order.ended_why else ""
        return f"{out} Closed.{rest}"
    came = sum(line.received > 0 for line in lines)
    days = sorted({line.due_on for line in lines if line.to_come})
    expected = " and ".join(day_name(day) for day in days)
    if came:
        return f"{out} Something of {came} of {len(lines)} lines came; the rest is expected {expected}."
    return f"{out} Expected {expected}."


@require_safe
@allow("look")
def purchases(request):
    form = FindForm(request.GET, label="Supplier, part or number")
    rows = in_full() if form.is_valid() else PurchaseOrder.objects.none()
    if form.text:
        found = having_words(rows, form.text, "supplier__name", "lines__part__name", "lines__part__number")
        rows = rows.filter(pk__in=[*found.values_list("pk", flat=True)[:500], *_by_number(form.text)])
    page = page_of(request, rows)
    context = {
        "find": form,
        "text": form.text,
        "page": page,
        "rows": [row_of(order, local_day(timezone.now())) for order in page],
        "trail": PURCHASES[:1],
        "currency": settings.CURRENCY,
    }
    return show(request, "manage/buying/purchases.html", context)


def _by_number(text):
    """The key of the order of which this is the number: DB-P1003, or its figures alone."""
    figures = text.upper().removeprefix(f"{settings.ORDER_PREFIX}-").removeprefix("P").strip()
    return [int(figures) - 1000] if figures.isascii() and figures.isdigit() and len(figures) < 10 else []


@allow("keep_stock")
def purchase_new(request):
    """Draft an order to ?supplier=: so many of each thing that they sell."""
    if "supplier" not in request.GET:
        return redirect("manage:suppliers")
    supplier = get_object_or_404(Supplier, pk=number(request.GET["supplier"]))
    today = local_day(timezone.now())
    items = supplier.items.offered().priced(today).select_related("part", "container")
    form = forms.DraftForm(sent(request), items=items)
    if request.method == "POST" and (
        made := submit(form, services.start_order, supplier=supplier, by=request.user, at=timezone.now())
    ):
        messages.success(request, f"{made} is drafted. Look it through, then send it to {supplier}.")
        return redirect(made)
    context = {
        "supplier": supplier,
        "form": form,
        "trail": SUPPLIERS,
        "currency": settings.CURRENCY,
        "may_keep": request.user.may("keep_suppliers"),
    }
    return show(request, "manage/buying/draft.html", context)


@require_safe
@allow("look")
def purchase(request, pk):
    return _page(request, get_object_or_404(PurchaseOrder, pk=pk))


@allow("keep_stock")
def purchase_send(request, pk):
    order = get_object_or_404(PurchaseOrder, pk=pk)
    if request.method != "POST":
        return redirect(order)
    form = forms.SendForm(request.POST)
    if made := submit(form, services.send_order, order=order, by=request.user, at=timezone.now()):
        messages.success(request, f"{made} is on its way to {made.supplier}.")
        return redirect(made)
    return _page(request, order, form)


def _page(request, order, refused=None):
    now, today = timezone.now(), local_day(timezone.now())
    order = in_full().get(pk=order.pk)
    lines, may_order = list(order.lines.all()), request.user.may("keep_stock")
    received = ReceiptLine.objects.filter(receipt__order=order).select_related(
        "receipt__by", "line__item__container", "line__part", "corrects", "by"
    )
    supplier, draft = order.supplier, order.status == PurchaseStatus.DRAFT
    expected = delivery_day(today, supplier.lead_days, supplier.takes_orders_on)
    nets = [line.net for line in lines if line.net is not None]
    initial = {"how": SentHow.EMAIL if supplier.email else SentHow.PHONE, "expected_on": expected}
    context = {
        "order": order,
        "words": _state(order, lines),
        "late": order.running and order.late(today),
        "lines": lines,
        "total": sum(nets),
        "without_price": len(lines) - len(nets),
        "form": refused,
        "send": (refused or forms.SendForm(initial=initial)) if draft and may_order else None,
        "mail": _mail(order),
        "others": _others(order, lines, today) if may_order and (draft or order.running) else [],
        "receipts": _receipts(received),
        "waits": waits_for(order) if not draft else [],
        "can_hold": _can_hold(order) if not draft and request.user.may("pick") else False,
        "history": AuditEntry.objects.filter(kind="purchase", key=str(order.pk)),
        "draft": draft,
        "open": order.running,
        "may_order": may_order,
        "trail": PURCHASES,
        "now": now,
    }
    return show(request, "manage/buying/purchase.html", context)


def _others(order, lines, today):
    """What the supplier sells besides; each may be added to the order."""
    items = order.supplier.items.offered().priced(today).select_related("part", "container")
    return list(items.exclude(pk__in=[line.item_id for line in lines]).order_by("part__number"))


def _can_hold(order):
    """Whether something lies free that running orders lack."""
    parts = list(Part.objects.filter(purchase_lines__order=order).distinct())
    lacking = waited_for(parts)
    stock = stock_of(parts)
    return any(stock[part.pk].available and lacking.get(part.pk) for part in parts)


def _receipts(rows):
    """Deliveries with their lines; a correction stands below what it corrects."""
    corrected = {row.corrects_id: row for row in rows if row.corrects_id}
    found = {}
    for row in rows:
        if not row.corrects_id:
            found.setdefault(row.receipt, []).append((row, corrected.get(row.pk)))
    return list(found.items())


def _mail(order):
    """Address that opens the order as an e-mail in the desk's own program; empty without an address."""
    if not order.supplier.email:
        return ""
    subject, text = quote(f"Order {order} from {settings.SHOP['name']}"), quote(documents.purchase_text(order=order))
    return f"mailto:{quote(order.supplier.email, safe='@')}?subject={subject}&body={text}"


@allow("keep_stock")
def purchase_line(request, pk):
    """Change the line of ?item=, or add it."""
    order = get_object_or_404(PurchaseOrder.objects.select_related("supplier"), pk=pk)
    if "item" not in request.GET:
        return redirect(order)
    sold = SupplierItem.objects.select_related("part", "container", "supplier")
    item = get_object_or_404(sold, pk=number(request.GET["item"]), supplier=order.supplier)
    line = order.lines.filter(item=item).first()
    price = item.price_on(local_day(timezone.now()))
    initial = {"units": item.minimum, "price": price}
    if line:
        initial = {"units": line.units, "price": line.price, "expected_on": line.expected_on}
    form = forms.LineForm(sent(request), draft=order.status == PurchaseStatus.DRAFT, initial=initial)
    if request.method == "POST" and submit(
        form, services.set_line, order=order, item=item, by=request.user, at=timezone.now()
    ):
        messages.success(request, f"{order} is changed: {item}.")
        return redirect(order)
    packs = f" They send packs of {item.pack}." if item.pack > 1 else ""
    return show_form(
        request,
        form,
        title=f"{item} on {order}",
        action="Save",
        trail=[*PURCHASES, (order.number, order.get_absolute_url())],
        back=order.get_absolute_url(),
        intro=f"From {order.supplier}.{packs}",
    )


@allow("keep_stock")
def purchase_receive(request, pk):
    """Enter what came with a delivery note."""
    order = get_object_or_404(in_full(), pk=pk)
    lines = list(order.lines.all())
    form = forms.DeliveryForm(sent(request), lines=lines)
    if request.method == "POST" and (
        made := submit(form, services.receive_delivery, order=order, by=request.user, at=timezone.now())
    ):
        messages.success(request, f"Delivery note {made.delivery_note} is entered, and what came is on hand.")
        return redirect(made.order)
    context = {
        "order": order,
        "form": form,
        "trail": [*PURCHASES, (order.number, order.get_absolute_url())],
        "closed": not order.running,
    }
    return show(request, "manage/buying/receive.html", context)


@allow("keep_stock")
def receipt_correct(request, pk):
    """Put right a line of a delivery on which more was written than came."""
    rows = ReceiptLine.objects.select_related("receipt__order", "line__item__container", "line__part")
    row = get_object_or_404(rows, pk=pk)
    order, form = row.receipt.order, forms.CorrectForm(sent(request))
    if request.method == "POST" and submit(
        form, services.correct_receipt, received=row, by=request.user, at=timezone.now()
    ):
        messages.success(request, f"{row.receipt} is put right.")
        return redirect(order)
    return show_form(
        request,
        form,
        title=f"Correct delivery note {row.receipt.delivery_note}",
        action="Put it right",
        trail=[*PURCHASES, (order.number, order.get_absolute_url())],
        back=order.get_absolute_url(),
        intro=f"{row.line.item}: {row.units} were written. The difference leaves the shelf, and the order waits for it "
        "again. If more came than was written, enter the rest as a delivery.",
    )


@allow("keep_stock")
def purchase_call_off(request, pk):
    """Nothing more will come of an order."""
    order, form = get_object_or_404(PurchaseOrder, pk=pk), forms.WhyForm(sent(request))
    if request.method == "POST" and submit(
        form, services.call_off_rest, order=order, by=request.user, at=timezone.now()
    ):
        messages.success(request, f"Nothing more will come of {order}.")
        return redirect(order)
    tell = "It was not sent." if order.status == PurchaseStatus.DRAFT else "Tell the supplier first."
    return show_form(
        request,
        form,
        title=f"Call off what is still to come of {order}",
        action="Call it off",
        trail=[*PURCHASES, (order.number, order.get_absolute_url())],
        back=order.get_absolute_url(),
        intro=f"What came stays on hand. {tell}",
    )


@require_POST
@allow("pick")
def purchase_hold(request, pk):
    """Hold what came for the orders that wait, in the order of their promises."""
    order = get_object_or_404(PurchaseOrder, pk=pk)
    parts = Part.objects.filter(purchase_lines__order=order).distinct()
    try:
        got = hold_for_waiting(parts=parts, by=request.user, at=timezone.now())
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect(order)
    if got:
        messages.success(request, f"Held: {'; '.join(one.words for one in got)}.")
    else:
        messages.info(request, "Nothing was held: no order lacks what is free, or somebody else did it just now.")
    return redirect(order)


@require_safe
@allow("look")
@cache_control(private=True, no_store=True)
def purchase_paper(request, pk):
    """The order as a PDF."""
    paper = documents.purchase_paper(order=get_object_or_404(PurchaseOrder, pk=pk))
    headers = {"Content-Disposition": f'inline; filename="{paper.filename}"'}
    return HttpResponse(paper.pdf, content_type="application/pdf", headers=headers)


@require_safe
@allow("look")
@cache_control(private=True, no_store=True)
def purchase_text(request, pk):
    """The order as plain text, to copy into an e-mail."""
    text = documents.purchase_text(order=get_object_or_404(PurchaseOrder, pk=pk))
    return HttpResponse(text, content_type="text/plain; charset=utf-8")
