"""Suppliers, what they sell and at which price since when, and when each part is ordered again."""

from django.conf import settings
from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from shop.calc.intervals import day_in_words
from shop.core.amounts import stock_amount
from shop.core.clock import local_day
from shop.parts import services
from shop.parts.models import Part, Supplier, SupplierItem
from shop.parts.reorder import reorder
from shop.parts.services.suppliers import order_days_in_words
from shop.parts.workdays import day_name, delivery_day
from shop.staff.models import AuditEntry
from shop.web.access import allow
from shop.web.forms import FindForm, submit
from shop.web.manage import buying_forms as forms
from shop.web.manage.views.buying import BUYING, SUPPLIERS, in_full, row_of
from shop.web.pages import having_words, number, page_of, sent, show, show_form
from shop.workorders.purchases import reorder_list, waited_for


@require_safe
@allow("look")
def suppliers(request):
    form = FindForm(request.GET, label="Name, part or account number")
    rows = Supplier.objects.all() if form.is_valid() else Supplier.objects.none()
    if form.text:
        fields = ("name", "account_number", "items__part__name", "items__part__number", "items__their_number")
        rows = rows.filter(pk__in=having_words(rows, form.text, *fields).values("pk"))
    context = {
        "find": form,
        "text": form.text,
        "page": page_of(request, rows.order_by("-in_use", "name")),
        "may_keep": request.user.may("keep_suppliers"),
        "trail": SUPPLIERS[:1],
    }
    return show(request, "manage/buying/suppliers.html", context)


@require_safe
@allow("look")
def supplier(request, pk):
    row = get_object_or_404(Supplier, pk=pk)
    today = local_day(timezone.now())
    context = {
        "supplier": row,
        "order_days": order_days_in_words(row),
        "delivers": day_name(delivery_day(today, row.lead_days, row.takes_orders_on)),
        "items": row.items.priced(today).select_related("part", "container").order_by("-in_use", "part__number"),
        "orders": [row_of(order, today) for order in in_full().filter(supplier=row)[:20]],
        "history": AuditEntry.objects.filter(kind="supplier", key=str(row.pk)),
        "currency": settings.CURRENCY,
        "may_keep": request.user.may("keep_suppliers"),
        "may_order": request.user.may("keep_stock") and row.in_use,
        "trail": SUPPLIERS,
    }
    return show(request, "manage/buying/supplier.html", context)


@allow("keep_suppliers")
def supplier_new(request):
    form = forms.SupplierForm(sent(request))
    if request.method == "POST" and (
        made := submit(form, services.create_supplier, by=request.user, at=timezone.now())
    ):
        messages.success(request, f"{made} is entered. Say next what they sell.")
        return redirect(made)
    return show_form(
        request, form, title="New supplier", action="Save", trail=SUPPLIERS, back=reverse("manage:suppliers")
    )


@allow("keep_suppliers")
def supplier_change(request, pk):
    row = get_object_or_404(Supplier, pk=pk)
    form = forms.SupplierChangeForm(sent(request), initial=forms.SupplierChangeForm.filled_from(row))
    if request.method == "POST":
        if submit(form, services.change_supplier, supplier=row, by=request.user, at=timezone.now()):
            messages.success(request, f"{row} is saved.")
            return redirect(row)
        form.catch_up(row)
    return show_form(
        request,
        form,
        title=f"Change {row}",
        action="Save",
        trail=[*SUPPLIERS, (row.name, row.get_absolute_url())],
        back=row.get_absolute_url(),
    )


@allow("keep_suppliers")
def item_new(request, pk):
    """What a supplier sells: first which part, then, with ?part=, how."""
    row = get_object_or_404(Supplier, pk=pk)
    trail, back = [*SUPPLIERS, (row.name, row.get_absolute_url())], row.get_absolute_url()
    if "part" not in request.GET:
        form = forms.PartNumberForm(sent(request))
        if request.method == "POST" and form.is_valid():
            return redirect(f"{request.path}?part={form.part.pk}")
        form.status = 422 if form.errors else 200
        return show_form(
            request, form, title=f"What {row} sells", action="Go on", trail=trail, back=back,
            intro="Type or scan the shop's own part number.",
        )  # fmt: skip
    part = get_object_or_404(Part, pk=number(request.GET["part"]))
    form = forms.ItemForm(sent(request), part=part)
    if request.method == "POST" and (
        made := submit(form, services.add_item, supplier=row, part=part, by=request.user, at=timezone.now())
    ):
        messages.success(request, f"{row} sells {made}.")
        return redirect(row)
    return show_form(request, form, title=f"{part} from {row}", action="Save", trail=trail, back=back)


@require_safe
@allow("look")
def supplier_item(request, pk):
    return _item_page(request, _item(pk))


def _item(pk):
    return get_object_or_404(SupplierItem.objects.select_related("supplier", "part", "container"), pk=pk)


@allow("keep_suppliers")
def item_price(request, pk):
    row = _item(pk)
    if request.method != "POST":
        return redirect(row)
    form = forms.PriceForm(request.POST)
    if made := submit(form, services.note_price, item=row, by=request.user, at=timezone.now()):
        messages.success(request, f"{row}: a new price holds from {day_in_words(made.from_day)}.")
        return redirect(row)
    return _item_page(request, row, form)


@allow("keep_suppliers")
def item_change(request, pk):
    row = _item(pk)
    form = forms.ItemChangeForm(sent(request), initial=forms.ItemChangeForm.filled_from(row))
    if request.method == "POST":
        if submit(form, services.change_item, item=row, by=request.user, at=timezone.now()):
            messages.success(request, f"{row} is saved.")
            return redirect(row)
        form.catch_up(row)
    return show_form(
        request,
        form,
        title=f"Change how {row.supplier} sells {row}",
        action="Save",
        trail=[*SUPPLIERS, (row.supplier.name, row.supplier.get_absolute_url())],
        back=row.get_absolute_url(),
    )


def _item_page(request, row, refused=None):
    today = local_day(timezone.now())
    prices = list(row.prices.select_related("noted_by"))
    holds = next((one for one in prices if one.from_day <= today), None)
    may_keep = request.user.may("keep_suppliers")
    context = {
        "item": row,
        "prices": prices,
        "holds": holds,
        "today": today,
        "form": refused,
        "new_price": (refused or forms.PriceForm(initial={"from_day": today})) if may_keep else None,
        "may_keep": may_keep,
        "trail": [*SUPPLIERS, (row.supplier.name, row.supplier.get_absolute_url())],
    }
    return show(request, "manage/buying/item.html", context)


# --- reorder points


@require_safe
@allow("look")
def reorder_points(request):
    context = {
        "rows": reorder_list(now=timezone.now()),
        "service_level": settings.SERVICE_LEVEL_PERCENT,
        "may_keep": request.user.may("keep_suppliers"),
        "trail": [BUYING],
    }
    return show(request, "manage/buying/reorder.html", context)


@require_safe
@allow("look")
def reorder_part(request, pk):
    return _reorder_page(request, get_object_or_404(Part, pk=pk))


@allow("keep_suppliers")
def reorder_fix(request, pk):
    """Set a part's reorder point by hand, or with back=1 go by the reckoned one again."""
    part = get_object_or_404(Part, pk=pk)
    if request.method != "POST":
        return redirect("manage:reorder_part", pk)
    if "back" in request.POST:
        services.unfix_reorder(part=part, by=request.user, at=timezone.now())
        messages.success(request, f"{part} is ordered again as reckoned.")
        return redirect("manage:reorder_part", pk)
    form = forms.ReorderForm(request.POST, part=part)
    if submit(form, services.fix_reorder, part=part, by=request.user, at=timezone.now()):
        messages.success(request, f"The reorder point of {part} is set by hand.")
        return redirect("manage:reorder_part", pk)
    return _reorder_page(request, part, form)


def _reorder_page(request, part, refused=None):
    now, may_keep = timezone.now(), request.user.may("keep_suppliers")
    sold = part.sold_as.priced(local_day(now)).select_related("supplier", "container", "part")
    figures = reorder([part], now=now, short=waited_for([part]))[part.pk]
    fix, initial = figures.fix, None
    if fix:
        initial = {name: stock_amount(getattr(fix, name), part.measure) for name in ("point", "amount")}
        initial["why"] = fix.why
    context = {
        "part": part,
        "figures": figures,
        "sold": sold.order_by("supplier__name"),
        "form": refused,
        "by_hand": (refused or forms.ReorderForm(part=part, initial=initial)) if may_keep else None,
        "currency": settings.CURRENCY,
        "trail": [BUYING, ("Reorder points", reverse("manage:reorder_points"))],
    }
    return show(request, "manage/buying/reorder_part.html", context)
