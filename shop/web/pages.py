"""What the pages of desk and manager have in common."""

from functools import reduce
from operator import or_

from django.core.paginator import Paginator
from django.db.models import Q
from django.http import Http404
from django.shortcuts import render

PAGE_SIZE = 50
MOST_DIGITS_OF_A_KEY = 18  # a longer one fits no column of a database


def sent(request):
    """What a form is filled with: the data posted, or None for a page that is only opened."""
    return request.POST if request.method == "POST" else None


def show(request, template, context, status=None):
    """Render a page; a form that was refused gives it its status (422, or 409 when somebody else was first)."""
    return render(
        request, template, context, status=status or getattr(context.get("form") or context.get("find"), "status", 200)
    )


def show_form(request, form, *, title, action, trail=(), back="", intro=""):
    """A page that is one form. trail: (words, address) of the pages above; action: the words on its button."""
    context = {"form": form, "title": title, "action": action, "trail": trail, "back": back, "intro": intro}
    return show(request, "form.html", context)


def number(text):
    """A primary key from the query of an address; with anything else the address leads nowhere (404)."""
    if not text or not text.isascii() or not text.isdigit() or len(text) > MOST_DIGITS_OF_A_KEY:
        raise Http404
    return int(text)


def page_of(request, rows):
    """The page of a long list that ?page= asks for; nonsense gives the first, too far the last."""
    return Paginator(rows, PAGE_SIZE).get_page(request.GET.get("page"))


def having_words(rows, text, *fields):
    """Rows of which every word of text is found in at least one of the fields."""
    for word in text.split():
        rows = rows.filter(reduce(or_, (Q(**{f"{field}__icontains": word}) for field in fields)))
    return rows
