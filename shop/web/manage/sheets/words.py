"""How the pages of the spec table say things, and what several of them need."""

from django.shortcuts import get_object_or_404
from django.urls import reverse_lazy

from shop.core.amounts import altitude, in_full, in_other_unit, shop_unit, span
from shop.dampers.measures import SPECIFIED, Measure
from shop.specs.models import SpecSheet
from shop.web.pages import number

TRAIL = [("Spec table", reverse_lazy("manage:sheets"))]


def sheet_or_404(pk) -> SpecSheet:
    rows = SpecSheet.objects.select_related(
        "damper_model", "vehicle_model", "entered_by", "verified_by", "sent_back_by", "replaces"
    )
    return get_object_or_404(rows, pk=pk)


def chosen_sheets(request, most) -> list[SpecSheet]:
    """The sheets that ?sheet=1&sheet=2 names, in that order, at most so many; what is not there is left out."""
    keys = list(dict.fromkeys(number(text) for text in request.GET.getlist("sheet")))[:most]
    rows = SpecSheet.objects.select_related("damper_model", "vehicle_model").prefetch_related("values")
    found = rows.in_bulk(keys)
    return [found[key] for key in keys if key in found]


def under(sheet) -> list:
    """The pages above one that belongs to a sheet."""
    return [*TRAIL, (sheet, sheet.get_absolute_url())]


def brief(sheet) -> list[tuple[str, str] | None]:
    """Each figure in the shop's unit and what is allowed, for a row of a list; None where the sheet has none."""
    there = {one.measure: one for one in sheet.values.all()}
    return [
        (in_full(one.value_si, one.quantity), span(one.low_si, one.high_si, one.quantity)) if one else None
        for one in (there.get(measure) for measure in SPECIFIED)
    ]


def in_detail(one, sheet) -> dict:
    """A figure as printed, in the shop's unit and in the other one, and what is allowed in the shop's unit."""
    return {
        "value": one,
        "shop": in_full(one.value_si, one.quantity),
        "other": in_other_unit(one.value_si, one.quantity),
        "allowed": f"{span(one.low_si, one.high_si, one.quantity)} {shop_unit(one.quantity)}",
        "meant_at": f"{in_full(sheet.reference_k, 'temperature')}, {altitude(sheet.reference_altitude_m)}"
        if one.measure == Measure.CHARGE
        else "",
    }
