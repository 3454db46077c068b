"""The people of the shop: who they are, what they may do, and what they come in with."""

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse, reverse_lazy
from django.utils import timezone

from shop.staff import services
from shop.staff.models import AuditEntry, User
from shop.web.access import allow
from shop.web.forms import KeyedForm, NewPasswordForm, submit
from shop.web.manage.forms import PersonForm, PinForm, RoleForm
from shop.web.pages import page_of, sent, show, show_form

TRAIL = [("Staff", reverse_lazy("manage:staff"))]


@allow("keep_staff")
def staff(request):
    people = User.objects.order_by("-is_active", "first_name", "last_name", "username")
    return show(request, "manage/staff.html", {"page": page_of(request, people)})


@allow("keep_staff")
def person_new(request):
    form = PersonForm(sent(request))
    if request.method == "POST" and (
        made := submit(form, services.create_user, secret=("password",), by=request.user, at=timezone.now())
    ):
        messages.success(request, f"{made} can log in. Tell them the first password in person.")
        return redirect("manage:staff")
    return show_form(
        request, form, title="New person", action="Save", trail=TRAIL, back=reverse("manage:staff"),
        intro="They log in with the user name and the first password.",
    )  # fmt: skip


@allow("keep_staff")
def person(request, pk):
    row = get_object_or_404(User, pk=pk)
    context = {"person": row, "history": AuditEntry.objects.filter(kind="user", key=str(row.pk)), "trail": TRAIL}
    return show(request, "manage/person.html", context)


@allow("keep_staff")
def role(request, pk):
    row = _at_work(pk)
    form = RoleForm(sent(request), initial={"role": row.role})
    if request.method == "POST" and (made := _write(request, form, services.change_role, row)):
        messages.success(request, f"{made} is now: {made.get_role_display().lower()}.")
        own = made == request.user and not made.may("keep_staff")
        return redirect("desk:day") if own else redirect("manage:person", pk)
    intro = "It decides which pages open for them, from the next one on."
    return _show_form(request, form, row, title=f"Role of {row}", action="Save", intro=intro)


@allow("keep_staff")
def password(request, pk):
    row = _at_work(pk)
    form = NewPasswordForm(sent(request))
    if request.method == "POST" and (made := _write(request, form, services.set_password, row)):
        if made == request.user:
            update_session_auth_hash(request, made)
        messages.success(request, f"{made} has a new password. Tell them in person.")
        return redirect("manage:person", pk)
    intro = "The old one ends, and with it every log-in made with it. They can change it under their own name above."
    return _show_form(request, form, row, title=f"Password of {row}", action="Set password", intro=intro)


@allow("keep_staff")
def pin(request, pk):
    row = _at_work(pk)
    form = PinForm(sent(request))
    if request.method == "POST" and _write(request, form, services.set_bench_pin, row):
        messages.success(request, f"{row} has a new bench PIN.")
        return redirect("manage:person", pk)
    intro = "It confirms a second check on a shared tablet. Let the person type it."
    return _show_form(request, form, row, title=f"Bench PIN of {row}", action="Set PIN", intro=intro)


@allow("keep_staff")
def let_go(request, pk):
    row = _at_work(pk)
    form = KeyedForm(sent(request))
    if request.method == "POST" and _write(request, form, services.let_go, row):
        messages.success(request, f"{row} is let go and cannot log in any more.")
        return redirect("manage:staff")
    intro = "Log-in, bench PIN and API token end at once. What they did stays in the books under their name."
    return _show_form(request, form, row, title=f"Let {row} go", action="Let go", intro=intro)


@allow("keep_staff")
def take_back(request, pk):
    row = get_object_or_404(User, pk=pk, is_active=False)
    form = KeyedForm(sent(request))
    if request.method == "POST" and _write(request, form, services.take_back, row):
        messages.success(request, f"{row} works here again. Now give them a password, and later a bench PIN.")
        return redirect("manage:password", pk)
    intro = f"In the role they had: {row.get_role_display().lower()}. The next page asks for a new password."
    return _show_form(request, form, row, title=f"Take {row} back", action="Take back", intro=intro)


def _at_work(pk):
    return get_object_or_404(User, pk=pk, is_active=True)


def _write(request, form, service, row):
    return submit(form, service, user=row, by=request.user, at=timezone.now())


def _show_form(request, form, row, **words):
    back = reverse("manage:person", args=[row.pk])
    return show_form(request, form, trail=[*TRAIL, (row, back)], back=back, **words)
