"""Photos of an order and its dampers: made anew, kept by what they show, never taken away."""

import hashlib
from dataclasses import dataclass
from datetime import datetime

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction

from shop.core.errors import Conflict, refused, renamed
from shop.core.images import Picture, picture_of
from shop.staff.models import User
from shop.staff.services import note
from shop.workorders.models import DamperJob, OrderStatus, Photo, PhotoStrike, Shows, WorkOrder

MOST_PHOTOS = 20  # of one damper, and of an order as a whole


@dataclass(frozen=True)
class KeptPicture:
    """A picture that lies in the storage: its digest and its size in pixels."""

    digest: str
    width: int
    height: int


def keep_picture(picture: Picture) -> KeptPicture:
    """Lay a picture into the storage under its digest. One that no row names, after a refusal, does no harm."""
    digest = hashlib.sha256(picture.content).hexdigest()
    path = f"photos/{digest}.jpg"
    if not default_storage.exists(path):
        default_storage.save(path, ContentFile(picture.content))
    return KeptPicture(digest, picture.width, picture.height)


@transaction.atomic
def add_photo(
    *,
    order: WorkOrder,
    photo,
    job: DamperJob | None = None,
    moment: str = Shows.FOUND,
    what: str = "",
    by: User,
    at: datetime,
) -> Photo:
    """Keep a photo with an order or one of its dampers; photo is a file opened for reading. The same again is one."""
    try:
        kept = keep_picture(picture_of(photo))
    except ValidationError as error:
        raise renamed(error, __all__="photo") from error
    try:
        return _add(order, [(job, kept)], moment, what, by, at)[0]
    except ValidationError as error:
        raise renamed(error, photos="photo") from error


@transaction.atomic
def add_photos(
    *,
    order: WorkOrder,
    photos: list[tuple[DamperJob | None, KeptPicture]],
    moment: str = Shows.FOUND,
    what: str = "",
    by: User,
    at: datetime,
) -> WorkOrder:
    """The same for pictures that lie in the storage already. Refused as a whole where a damper would have too many."""
    _add(order, photos, moment, what, by, at)
    return order


def _add(order: WorkOrder, photos: list, moment: str, what: str, by: User, at: datetime) -> list[Photo]:
    order = WorkOrder.objects.select_for_update(of=("self",)).get(pk=order.pk)
    if order.status in (OrderStatus.CALLED_OFF, OrderStatus.HANDED_BACK):
        raise Conflict(f"{order} is {order.get_status_display()}: it takes no photos any more.", code="over")
    tags = {one.pk: one.tag for one in order.jobs.all()}
    there = {(one.job_id, one.digest): one for one in order.photos.standing()}
    made = []
    for job, kept in photos:
        if job and job.pk not in tags:
            raise refused("job", f"Damper {job.tag} is not part of {order}.", "not_of_order")
        key = job.pk if job else None, kept.digest
        if key not in there:
            photo = Photo(
                order=order, job=job, moment=moment, what=what.strip(), digest=kept.digest, width=kept.width,
                height=kept.height, by=by, at=at,
            )  # fmt: skip
            photo.full_clean()
            there[key] = photo
        made.append(there[key])
    for pk, tag in [(None, order.number), *tags.items()]:
        count = sum(key[0] == pk for key in there)
        new = sum(one.pk is None for key, one in there.items() if key[0] == pk)
        if new and count > MOST_PHOTOS:
            words = f"{tag} has {count - new} of at most {MOST_PHOTOS} photos; {new} more are too many. Leave some out."
            raise refused("photos", words, "too_many")
    new = [one for one in there.values() if one.pk is None]
    for photo in new:
        photo.save()
    if new:
        told = f"{len(new)} photo{'s' if len(new) > 1 else ''} kept, {Shows(moment).label}"
        note(who=by, kind="order", key=order.pk, what=told, at=at)
    return made


@transaction.atomic
def strike_photo(*, photo: Photo, why: str, by: User, at: datetime) -> Photo:
    """Say that a photo is wrong; it stays in the book, struck out. Twice is as good as once."""
    order = WorkOrder.objects.select_for_update(of=("self",)).get(pk=photo.order_id)
    if PhotoStrike.objects.filter(photo=photo).exists():
        return photo
    if not why.strip():
        raise refused("why", "Say what is wrong with the photo.", "why_missing")
    strike = PhotoStrike(photo=photo, why=why.strip(), by=by, at=at)
    strike.full_clean()
    strike.save()
    note(who=by, kind="order", key=order.pk, what=f"{photo} struck out: {strike.why}", at=at)
    return Photo.objects.get(pk=photo.pk)
