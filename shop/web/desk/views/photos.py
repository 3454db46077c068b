"""Photos of an order and its dampers."""

from django import forms
from django.contrib import messages
from django.core import signing
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_safe

from shop.web.access import allow, takes_files
from shop.web.desk.agreement_forms import PhotoStrikeForm
from shop.web.desk.views.agreements import picture
from shop.web.desk.views.booking import not_now, trail_to
from shop.web.forms import KeyedForm, submit
from shop.web.pages import sent, show, show_form
from shop.web.photos import MOST_BYTES, PhotosField, kept_by
from shop.workorders import services
from shop.workorders.models import DamperJob, OrderStatus, Photo, Shows, WorkOrder


class PhotosForm(KeyedForm):
    """Cleans to what add_photos takes."""

    job = forms.ModelChoiceField(
        DamperJob.objects.none(), label="Of", required=False, empty_label="the whole order"
    )  # fmt: skip
    moment = forms.ChoiceField(label="Taken", choices=Shows.choices, initial=Shows.FOUND)
    what = forms.CharField(label="What they show", max_length=200, required=False)
    photos = PhotosField(label="Photos")

    def __init__(self, *args, order, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["job"].queryset = order.jobs.kept().select_related("damper")

    def clean(self):
        data = super().clean()
        photos, job = data.get("photos"), data.pop("job", None)
        if photos == []:
            self.add_error("photos", "No photo is chosen. Choose one.")
        return data | {"photos": [(job, one) for one in photos or []]}


@takes_files(MOST_BYTES)
@allow("photograph")
def photos_add(request, pk):
    order = get_object_or_404(WorkOrder.objects.with_names(), pk=pk)
    if order.status in (OrderStatus.CALLED_OFF, OrderStatus.HANDED_BACK) and request.method != "POST":
        return not_now(request, order, "It takes no photos any more.")
    files = request.FILES if request.method == "POST" else None
    form = PhotosForm(sent(request), files, order=order, initial={"job": request.GET.get("job", "")[:18]})
    if request.method == "POST" and submit(form, services.add_photos, order=order, by=request.user, at=timezone.now()):
        messages.success(request, f"The photos are kept with {order}.")
        return redirect(order)
    context = {
        "form": form,
        "title": f"Photos of {order}",
        "action": "Keep them",
        "trail": trail_to(order),
        "back": order.get_absolute_url(),
        "intro": "Place and camera are taken out of them.",
    }
    return show(request, "desk/photos.html", context)


@require_safe
@allow("look")
def photo(request, pk, photo_pk):
    return picture(get_object_or_404(Photo, pk=photo_pk, order=pk).path)


@require_safe
@allow("photograph")
def photo_kept(request, token):
    """A photo that waits in a form that was refused."""
    try:
        kept, _ = kept_by(token)
    except signing.BadSignature:
        raise Http404 from None
    return picture(f"photos/{kept.digest}.jpg")


@allow("photograph")
def photo_strike(request, pk, photo_pk):
    row = get_object_or_404(Photo.objects.with_names(), pk=photo_pk, order=pk)
    form = PhotoStrikeForm(sent(request))
    if request.method == "POST" and submit(form, services.strike_photo, photo=row, by=request.user, at=timezone.now()):
        messages.success(request, "The photo is struck out. It stays in the book with the reason.")
        return redirect(row.order)
    return show_form(
        request, form, title="Strike out a photo", action="Strike it out", trail=trail_to(row.order),
        back=row.order.get_absolute_url(), intro=f"{str(row).capitalize()}, by {row.by}.",
    )  # fmt: skip
