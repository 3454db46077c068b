"""Damper models: entered and corrected, with their sizes and adjusters."""

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from shop.calc.units import Entered, show_range
from shop.core.errors import refused
from shop.core.rows import one_line, save_new, unchanged
from shop.dampers.geometry import SIZES
from shop.dampers.measures import MOST_CLICKS
from shop.dampers.models import Adjuster, AdjusterKind, DamperModel
from shop.staff.models import User
from shop.staff.services import note


@transaction.atomic
def create_damper_model(
    *,
    maker: str,
    name: str,
    construction: str,
    serviceable: bool,
    why_not: str = "",
    cap_style: str = "",
    by: User,
    at: datetime,
) -> DamperModel:
    """Enter a damper model. One that is not serviced here needs the words that the customer is told."""
    model = DamperModel()
    _describe(model, maker, name, construction, serviceable, why_not, cap_style)
    save_new(model)
    note(who=by, kind="dampermodel", key=model.pk, what=f"entered: {_in_words(model)}", at=at)
    return model


@transaction.atomic
def change_damper_model(
    *,
    damper_model: DamperModel,
    version: int,
    maker: str,
    name: str,
    construction: str,
    serviceable: bool,
    why_not: str = "",
    cap_style: str = "",
    by: User,
    at: datetime,
) -> DamperModel:
    """Correct what a damper model is. Come by way of workorders.services, which asks whether one is at work.

    Nothing different: no new version.
    """
    model = unchanged(DamperModel, damper_model.pk, version)
    before = _in_words(model)
    _describe(model, maker, name, construction, serviceable, why_not, cap_style)
    if _in_words(model) == before:
        return model
    sizes = [size.label.lower() for size in SIZES if getattr(model, size.name) is not None]
    if sizes and not model.has_ifp:
        told = ", ".join(sizes)
        words = f"{model} would have no IFP, but sizes for one are entered: {told}. Empty them on its page first."
        raise refused("construction", words, "has_sizes")
    model.version += 1
    model.save()
    note(who=by, kind="dampermodel", key=model.pk, what=f"changed: {before}; now {_in_words(model)}", at=at)
    return model


def _describe(model, maker, name, construction, serviceable, why_not, cap_style) -> None:
    """Write this over a model and check it; it is not saved."""
    if serviceable and why_not.strip():
        raise ValidationError(
            {"why_not": "It is serviced here, so there is nothing to tell. Empty this, or say that it is not serviced."}
        )
    model.maker, model.name = one_line(maker), one_line(name)
    model.construction, model.cap_style = construction, cap_style
    model.serviceable, model.why_not = serviceable, why_not.strip()
    same = DamperModel.objects.filter(maker__iexact=model.maker, name__iexact=model.name).exclude(pk=model.pk)
    if twin := same.first():
        raise refused("name", f"{twin} is in the catalogue already. Open that one.", "known")
    if model.cap_style and not model.has_ifp:
        words = "Only a damper with an IFP has a cap over it. Choose not known, or another construction."
        raise refused("cap_style", words, "no_ifp")
    model.full_clean()


def _in_words(model: DamperModel) -> str:
    cap = f", {model.get_cap_style_display()}" if model.cap_style else ""
    service = "serviced here" if model.serviceable else f"not serviced here: {model.why_not}"
    return f"{model}, {model.get_construction_display()}{cap}, {service}"


@transaction.atomic
def set_geometry(
    *,
    damper_model: DamperModel,
    version: int | None = None,
    body_bore: Entered | None = None,
    reservoir_bore: Entered | None = None,
    reservoir_depth: Entered | None = None,
    cap_intrusion: Entered | None = None,
    shaft: Entered | None = None,
    stroke: Entered | None = None,
    highest_gas: Entered | None = None,
    spring_rate: Entered | None = None,
    by: User,
    at: datetime,
) -> DamperModel:
    """Say all that is known of a damper model's sizes; what is not given is not known any more.

    version is the one the form was opened with, else Conflict; None writes over whatever is there.
    Jobs on the benches keep the sizes with which they were checked in.
    """
    model = _opened(damper_model, version)
    entered = (
        body_bore, reservoir_bore, reservoir_depth, cap_intrusion, shaft, stroke, highest_gas, spring_rate,
    )  # fmt: skip
    given = dict(zip(SIZES, entered, strict=True))
    if any(given.values()) and not model.has_ifp:
        raise ValidationError(
            f"{model} has no IFP: where oil and gas share one chamber these sizes do not give the pressure.",
            code="no_ifp",
        )
    for size, entered in given.items():
        if entered and not size.low_si <= entered.si <= size.high_si:
            allowed = show_range(size.low_si, size.high_si, entered.unit)
            words = f"{size.label} cannot be {entered}. Allowed is {allowed}; check figures and unit."
            raise refused(size.argument, words, "size")
        setattr(model, size.name, entered.si if entered else None)
    for bore, label in ((reservoir_bore, "reservoir bore"), (body_bore, "body bore")):
        if shaft and bore and shaft.si >= bore.si:
            words = f"A shaft of {shaft} does not go with a {label} of {bore}. Check both figures."
            raise refused("shaft", words, "shaft")
    model.version += 1
    model.full_clean()
    model.save(update_fields=[*[size.name for size in SIZES], "version"])
    told = ", ".join(f"{size.label.lower()} {entered}" for size, entered in given.items() if entered)
    note(who=by, kind="dampermodel", key=model.pk, what=f"sizes: {told or 'none known'}", at=at)
    return model


@transaction.atomic
def set_adjusters(
    *,
    damper_model: DamperModel,
    version: int | None = None,
    compression: Entered | None = None,
    low_speed: Entered | None = None,
    high_speed: Entered | None = None,
    rebound: Entered | None = None,
    by: User,
    at: datetime,
) -> DamperModel:
    """Say which adjusters a damper model has and how many clicks each: the highest count, out from fully closed.

    What is not given it does not have, or nobody has counted it: nothing is held against that. version as for sizes.
    """
    model = _opened(damper_model, version)
    if compression and (low_speed or high_speed):
        words = "Compression is one adjuster or two, low-speed and high-speed. Empty this, or those two."
        raise refused("compression", words, "one_or_two")
    given = dict(zip(AdjusterKind, (compression, low_speed, high_speed, rebound), strict=True))
    for kind, entered in given.items():
        if entered and not (1 <= entered.si <= MOST_CLICKS and entered.value.is_integer()):
            words = f"{kind.label.capitalize()}: {entered} cannot be; a whole number from 1 to {MOST_CLICKS}."
            raise refused(kind.value, f"{words} Turn it fully closed, then out, and count again.", "clicks")
    model.adjusters.all().delete()
    made = [Adjuster(damper_model=model, kind=kind, clicks=int(one.value)) for kind, one in given.items() if one]
    for adjuster in made:
        adjuster.full_clean()
        adjuster.save()
    model.version += 1
    model.save(update_fields=["version"])
    told = "; ".join(str(adjuster) for adjuster in made)
    note(who=by, kind="dampermodel", key=model.pk, what=f"adjusters: {told or 'none known'}", at=at)
    return model


def _opened(damper_model: DamperModel, version: int | None) -> DamperModel:
    """The model, locked; Conflict when somebody has changed it since version."""
    if version is not None:
        return unchanged(DamperModel, damper_model.pk, version)
    return DamperModel.objects.select_for_update(no_key=True).get(pk=damper_model.pk)
