"""What the pages of desk and manager have in common."""

from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import Http404
from django.shortcuts import render

PAGE_SIZE = 50


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
    return show(request, "desk/form.html", context)


def number(text):
    """A primary key from the query of an address; with anything else the address leads nowhere (404)."""
    if not text or not text.isascii() or not text.isdigit():
        raise Http404
    return int(text)


def page_of(request, rows):
    """The page of a long list that ?page= asks for; nonsense gives the first, too far the last."""
    return Paginator(rows, PAGE_SIZE).get_page(request.GET.get("page"))


def renamed(error: ValidationError, **names) -> ValidationError:
    """The same refusal under the names that the form's fields have."""
    errors = error.update_error_dict({})
    return type(error)({names.get(name, name): one for name, one in errors.items()})
