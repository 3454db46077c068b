"""The people of the shop: who they are, and their bench PINs."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse, reverse_lazy
from django.utils import timezone

from shop.core.services import once
from shop.staff import services
from shop.staff.models import User
from shop.web.access import allow
from shop.web.manage.forms import PersonForm, PinForm
from shop.web.pages import page_of, sent, show, show_form

TRAIL = [("Staff", reverse_lazy("manage:staff"))]


@allow("keep_staff")
def staff(request):
    people = User.objects.order_by("-is_active", "first_name", "last_name", "username")
    return show(request, "manage/staff.html", {"page": page_of(request, people)})


@allow("keep_staff")
def person_new(request):
    form = PersonForm(sent(request))
    if request.method == "POST" and (made := _add(form, request.user)):
        messages.success(request, f"{made} can log in. Tell them the first password in person.")
        return redirect("manage:staff")
    return show_form(
        request, form, title="New person", action="Save", trail=TRAIL, back=reverse("manage:staff"),
        intro="They log in with the user name and the first password.",
    )  # fmt: skip


def _add(form, by):
    """Like submit, but the password stays out of what is kept to recognise a form that is sent twice."""
    form.status = 422
    if not form.is_valid():
        return None
    at = timezone.now()
    data = dict(form.cleaned_data)
    key, content = data.pop("request_key", ""), [data["username"], data["role"]]
    try:
        return once(
            scope=f"manage.person:{by.pk}", key=key, content=content, at=at,
            make=lambda: services.create_user(**data, by=by, at=at),
        )  # fmt: skip
    except ValidationError as error:
        for name, errors in error.update_error_dict({}).items():
            form.add_error(name if name in form.fields else None, errors)
        return None


@allow("keep_staff")
def pin(request, pk):
    person = get_object_or_404(User, pk=pk, is_active=True)
    form = PinForm(sent(request))
    if request.method == "POST" and _set_pin(form, person, request.user):
        messages.success(request, f"{person} has a new bench PIN.")
        return redirect("manage:staff")
    return show_form(
        request, form, title=f"Bench PIN of {person}", action="Set PIN", trail=TRAIL, back=reverse("manage:staff"),
        intro="It confirms a second check on a shared tablet. Let the person type it.",
    )  # fmt: skip


def _set_pin(form, person, by) -> bool:
    form.status = 422
    if not form.is_valid():
        return False
    try:
        with transaction.atomic():
            services.set_bench_pin(user=person, pin=form.cleaned_data["pin"])
            services.note(who=by, kind="person", key=person.pk, what="new bench PIN", at=timezone.now())
    except ValidationError as error:
        form.add_error(None, error)
        return False
    return True
