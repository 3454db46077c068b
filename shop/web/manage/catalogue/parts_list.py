"""The parts list of a damper model as one table to type in, and its way to another damper model."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse, reverse_lazy
from django.utils import timezone
from django.views.decorators.http import require_POST

from shop.core.amounts import stock_amount
from shop.core.errors import renamed
from shop.core.rows import names
from shop.dampers.models import DamperModel
from shop.parts.models import Part
from shop.specs.models import KitLine, years_in_words
from shop.specs.parts_lists import in_order
from shop.specs.services import copy_parts_list, write_parts_list
from shop.web.access import allow
from shop.web.forms import submit
from shop.web.manage.catalogue.overview import CATALOGUE
from shop.web.manage.catalogue_forms import CopyPartsListForm, PartsListForm
from shop.web.pages import sent, show
from shop.web.words import count
from shop.workorders.models import OrderStatus, WorkOrder

NUMBERS_OFFERED = 500  # part numbers of the stock that the browser suggests


@allow("keep_specs")
def parts_list(request, pk):
    model = get_object_or_404(DamperModel, pk=pk)
    lines = _lines(model)
    form = PartsListForm(sent(request), lines=lines)
    if request.method == "POST":
        if submit(form, _writing(form), damper_model=model, by=request.user, at=timezone.now()):
            messages.success(request, " ".join([f"The parts list of {model} is saved.", *_who_takes_it_up(model)]))
            return redirect("manage:damper_model", pk)
        if form.status == 409:
            form.catch_up(lines)
    return _page(request, model, lines, form)


@require_POST
@allow("keep_specs")
def parts_list_copy(request, pk):
    """Into this one, when it is empty; else from this one into another that is."""
    model = get_object_or_404(DamperModel, pk=pk)
    lines = _lines(model)
    form = _copy_form(model, lines, request.POST)
    if to := submit(form, _copying(model, lines), by=request.user, at=timezone.now()):
        messages.success(request, f"The parts list is copied to {to}. Change here what differs.")
        return redirect("manage:parts_list", to.pk)
    return _page(request, model, lines, PartsListForm(lines=lines), copy=form)


def _copying(model, lines):
    """The service between this damper model and the chosen one."""

    def copy(*, other, **given):
        source, to = (model, other) if lines else (other, model)
        return copy_parts_list(damper_model=source, to=to, **given)

    return copy


def _writing(form):
    """The service, with its refusals under the names of this table's fields."""

    def write(**given):
        try:
            return write_parts_list(**given)
        except ValidationError as error:
            raise renamed(error, **form.own_names()) from error

    return write


def _lines(model):
    return in_order(model.kit_lines.select_related("stands_in_for"))


def _page(request, model, lines, form, copy=None):
    context = {
        "model": model,
        "form": copy if copy and copy.is_bound else form,
        "parts": form,
        "table": list(form.table()),
        "now": told_lines(lines) if getattr(form, "status", 200) == 409 else [],
        "copy": copy or _copy_form(model, lines),
        "empty": not lines,
        "numbers": Part.objects.values_list("number", "name")[:NUMBERS_OFFERED],
        "own_numbers": [line.part_number for line in lines if line.stands_in_for is None],
        "trail": [
            CATALOGUE,
            ("Damper models", reverse_lazy("manage:damper_models")),
            (model, reverse("manage:damper_model", args=[model.pk])),
        ],
    }
    return show(request, "manage/catalogue/parts_list.html", context)


def _copy_form(model, lines, data=None):
    """An empty list is filled from one that is not; one that is not empty fills an empty one."""
    others = DamperModel.objects.exclude(pk=model.pk)
    others = others.filter(kit_lines=None) if lines else others.exclude(kit_lines=None)
    return CopyPartsListForm(data, others=others.distinct(), label="Copy to" if lines else "Copy from", prefix="copy")


def _who_takes_it_up(model):
    """What becomes of the orders that have such a damper, in sentences."""
    orders = WorkOrder.objects.filter(jobs__damper__model=model).distinct().order_by("pk")
    booked = names(orders.filter(status=OrderStatus.BOOKED))
    at_work = names(orders.filter(status=OrderStatus.ON_BENCH))
    told = []
    if booked:
        told.append(f"Booked orders take it up when they are filled next, at the latest at check-in: {booked}.")
    if at_work:
        told.append(f"On the benches, with the parts they were given: {at_work}.")
    return told


def told_lines(lines):
    """A parts list as it is read: each line with its amount and years, and whether the shop can pick it."""
    lines = in_order(lines)
    stock = {part.number: part for part in Part.objects.filter(number__in=[line.part_number for line in lines])}
    return [_told(line, stock.get(line.part_number)) for line in lines]


def _told(line: KitLine, part: Part | None):
    return {
        "line": line,
        "amount": _amount(line),
        "years": years_in_words(line.year_from, line.year_to),
        "part": part,
        "fits": part is not None and part.measure == line.measure,
    }


def _amount(line: KitLine) -> str:
    if line.amount is None:
        return "oil volume of the spec sheet"
    return count(line.amount, "piece") if line.measure == "count" else stock_amount(line.amount, line.measure)
