"""One part of the stock: what stands where, of which lot, for whom it is held, and every movement of it."""

import csv
import io

from django.contrib import messages
from django.db.models import Prefetch
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse, reverse_lazy
from django.utils import timezone
from django.views.decorators.http import require_safe

from shop.core.amounts import BASE_UNIT, stock_amount
from shop.exchange.cells import guard
from shop.parts import services
from shop.parts.models import Movement, OilEntry, Part, ReservationState
from shop.parts.selectors import movements_of, stock_of
from shop.parts.services.counting import CORRECTED_BY_HAND
from shop.web.access import allow
from shop.web.forms import submit
from shop.web.manage.ledger_forms import CorrectForm, KeepingForm, MovementsForm, WriteOffForm
from shop.web.pages import PAGE_SIZE, number, sent, show, show_form

TRAIL = [("Stock", reverse_lazy("manage:stock"))]
MOST_LINES_AS_FILE = 100_000


def trail_to(part):
    return [*TRAIL, (str(part), reverse("manage:ledger", args=[part.pk]))]


@require_safe
@allow("look")
def ledger(request, pk):
    """A part's page: ?kind= shows one kind of movement, ?before= goes on below the movement of that key."""
    part = get_object_or_404(Part, pk=pk)
    form = MovementsForm(request.GET)
    kind = form.cleaned_data["kind"] if form.is_valid() else ""
    before = number(request.GET["before"]) if request.GET.get("before") else None
    log = Prefetch("oil_entries", OilEntry.objects.filter(corrects=None).select_related("drum"))
    rows = list(movements_of(part, kind=kind, before=before).prefetch_related(log)[: PAGE_SIZE + 1])
    stock = stock_of([part])[part.pk]
    context = {
        "part": part,
        "stock": stock,
        "together": any(one.container and one.full and one.opened for one in stock.portions),
        "held": part.reservations.filter(state=ReservationState.HELD).order_by("pk"),
        "issued": part.reservations.filter(issued__gt=0).exclude(state=ReservationState.USED).order_by("pk"),
        "find": form,
        "kind": kind,
        "before": before,
        "rows": rows[:PAGE_SIZE],
        "older": rows[PAGE_SIZE - 1].pk if len(rows) > PAGE_SIZE else None,
        "correctable": CORRECTED_BY_HAND,
        "may_keep": request.user.may("keep_stock"),
        "may_write_off": request.user.may("write_off"),
        "trail": TRAIL,
    }
    return show(request, "manage/ledger.html", context)


@require_safe
@allow("look")
def movements_csv(request, pk):
    """Every movement of a part as a table; nothing in it runs in a spreadsheet."""
    part = get_object_or_404(Part, pk=pk)
    form = MovementsForm(request.GET)
    kind = form.cleaned_data["kind"] if form.is_valid() else ""
    text = io.StringIO()
    table = csv.writer(text)
    unit = BASE_UNIT[part.measure]
    table.writerow(["Number", "When", "What", f"Amount, {unit}", f"On hand after, {unit}", "Container", "Lot", "For",
                    "Why", "Corrects", "Who"])  # fmt: skip
    for row in movements_of(part, kind=kind)[:MOST_LINES_AS_FILE]:
        cells = [
            row.pk, timezone.localtime(row.at).isoformat(timespec="minutes"), row.get_kind_display(), row.amount,
            row.on_hand, row.container or "", row.lot or "", row.reservation.purpose if row.reservation else "",
            row.reason, row.corrects_id or "", row.by,
        ]  # fmt: skip
        table.writerow([cell if isinstance(cell, int) else guard(str(cell)) for cell in cells])
    body = b"\xef\xbb\xbf" + text.getvalue().encode("utf-8", "replace")
    headers = {"Content-Disposition": f'attachment; filename="movements-{part.pk}.csv"'}
    return HttpResponse(body, content_type="text/csv; charset=utf-8", headers=headers)


@allow("write_off")
def write_off(request, pk):
    part = get_object_or_404(Part, pk=pk)
    portions = [one for one in stock_of([part])[part.pk].portions if one.amount > 0]
    form = WriteOffForm(sent(request), part=part, portions=portions)
    if request.method == "POST" and (
        made := submit(form, services.write_off, part=part, by=request.user, at=timezone.now())
    ):
        noted = "".join(f" No. {one.pk} of the used-oil log: {one.drum}." for one in made.oil_entries.all())
        messages.success(request, f"{stock_amount(-made.amount, part.measure)} of {part} written off.{noted}")
        return redirect("manage:ledger", pk)
    return show_form(
        request,
        form,
        title=f"Write off {part.name}",
        action="Write it off",
        trail=trail_to(part),
        back=reverse("manage:ledger", args=[pk]),
        intro="It leaves the stock under your name."
        + (" Old fluids go into their drum, never down a drain." if part.measure == "volume" else ""),
    )


@allow("keep_stock")
def keeping(request, pk):
    part = get_object_or_404(Part, pk=pk)
    form = KeepingForm(sent(request), initial={"days": part.keeps_days})
    if request.method == "POST" and submit(form, services.set_keeping, part=part, by=request.user, at=timezone.now()):
        return redirect("manage:ledger", pk)
    return show_form(
        request, form, title=f"How long {part.name} keeps", action="Save", trail=trail_to(part),
        back=reverse("manage:ledger", args=[pk]),
    )  # fmt: skip


@allow("keep_stock")
def correct(request, pk):
    """Correct a wrong movement by another one that names it."""
    wrong = get_object_or_404(Movement.objects.select_related("part", "container", "lot", "by", "receipt_line"), pk=pk)
    if request.method != "POST" and hasattr(wrong, "receipt_line"):
        return redirect("manage:receipt_correct", wrong.receipt_line.pk)
    part = wrong.part
    form = CorrectForm(sent(request), movement=wrong)
    if request.method == "POST" and (
        made := submit(form, services.correct, movement=wrong, by=request.user, at=timezone.now())
    ):
        change = "more" if made.amount > 0 else "less"
        messages.success(request, f"{part}: {stock_amount(abs(made.amount), part.measure)} {change} than before.")
        return redirect("manage:ledger", part.pk)
    when = timezone.localtime(wrong.at)
    says = f"{stock_amount(abs(wrong.amount), part.measure)} {wrong.get_kind_display()}"
    return show_form(
        request,
        form,
        title=f"Correct an entry of {part.name}",
        action="Correct it",
        trail=trail_to(part),
        back=reverse("manage:ledger", args=[part.pk]),
        intro=f"Entry {wrong.pk} of {when:%d %b %Y, %H:%M} by {wrong.by} says: {says}. It stays; the correction is "
        "another entry that names it.",
    )
