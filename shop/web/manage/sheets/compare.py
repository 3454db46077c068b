"""Sheets side by side: what each says, and where they differ."""

from django.contrib import messages
from django.shortcuts import redirect
from django.views.decorators.http import require_safe

from shop.specs.history import content_of, in_words
from shop.web.access import allow
from shop.web.manage.sheets.words import TRAIL, chosen_sheets
from shop.web.pages import show

MOST_SHEETS = 6
NOTHING = "nothing"


@require_safe
@allow("look")
def sheets_compare(request):
    chosen = chosen_sheets(request, MOST_SHEETS)
    if len(chosen) < 2:
        messages.info(request, f"Tick two to {MOST_SHEETS} sheets to see them side by side.")
        return redirect("manage:sheets")
    rows = _rows([in_words(content_of(sheet)) for sheet in chosen])
    only = request.GET.get("only") == "differences"
    context = {
        "sheets": chosen,
        "rows": [row for row in rows if row["differs"] or not only],
        "differing": sum(row["differs"] for row in rows),
        "only": only,
        "left_out": max(0, len(set(request.GET.getlist("sheet"))) - len(chosen)),
        "trail": TRAIL,
    }
    return show(request, "manage/sheets_compare.html", context)


def _rows(said: list[dict[str, str]]) -> list[dict]:
    """A row for everything that any of them says, in the order of a sheet's page."""
    rows = []
    for name in _names(said):
        cells = [one.get(name, NOTHING) for one in said]
        rows.append({"name": name, "cells": cells, "differs": len(set(cells)) > 1})
    return rows


def _names(said) -> list[str]:
    """What only some of them say comes where those say it."""
    order = []
    for one in said:
        place = 0
        for name in one:
            if name not in order:
                order.insert(place, name)
            place = order.index(name) + 1
    return order
