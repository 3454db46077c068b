"""The used-oil log: what is poured into a drum, what a hauler takes away, and how a wrong line is put right."""

import hashlib
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction

from shop.calc.intervals import day_in_words
from shop.calc.units import Entered, figures
from shop.core.amounts import shop_unit, to_base_unit
from shop.core.clock import local_day
from shop.core.errors import Conflict, refused, renamed
from shop.core.images import pictures_of
from shop.core.rows import one_line
from shop.parts.models import (
    MOST_AT_ONCE,
    TAKES,
    Drum,
    DrumKind,
    Fluid,
    Movement,
    OilEntry,
    OilEntryKind,
    OilPaper,
)
from shop.parts.used_oil import held_by, in_words
from shop.specs.models import KitMeasure
from shop.staff.models import User
from shop.staff.services import note

MOST = MOST_AT_ONCE[KitMeasure.VOLUME]
MOST_PAPERS = 12
EXPIRED = (
    "Expired oil from stock is written off under Stock, which notes it here as well. Oil that the stock never had is "
    "used oil: say where it came from."
)
SURE = "If it is right, tick “It is right as I wrote it” and send it again."


@transaction.atomic
def add_drum(*, name: str, holds: str, capacity: Entered, by: User, at: datetime) -> Drum:
    """Enter a drum or can that collects one kind of waste."""
    name, size = one_line(name), _microlitres(capacity, "capacity")
    if size <= 0:
        raise refused("capacity", f"A drum holds more than {capacity}. Give what it may be filled to.", "nothing")
    if twin := Drum.objects.filter(name__iexact=name).first():
        raise refused("name", f"There is a drum {twin} already. Give this one another name.", "known")
    drum = Drum(name=name, holds=holds, capacity=size, made_at=at)
    drum.full_clean()
    drum.save()
    what = f"drum: {drum}, for {drum.get_holds_display()}, up to {in_words(size)}"
    note(who=by, kind="drum", key=drum.pk, what=what, at=at)
    return drum


@transaction.atomic
def retire_drum(*, drum: Drum, by: User, at: datetime) -> Drum:
    """Take an empty drum out of use; its log stays. Twice is as good as once."""
    drum = _locked(drum)
    if held := held_by(drum):
        words = f"{drum} holds {in_words(held)} by the book. Enter who took it away first, then take it out of use."
        raise refused("drum", words, "not_empty")
    if drum.retired_at is None:
        drum.retired_at = at
        drum.save(update_fields=["retired_at"])
        note(who=by, kind="drum", key=drum.pk, what=f"taken out of use: {drum}", at=at)
    return drum


@transaction.atomic
def pour_in(
    *,
    drum: Drum,
    fluid: str,
    entered: Entered,
    on: date,
    look: str = "",
    bag: str = "",
    source: str = "",
    estimated: bool = False,
    sure: bool = False,
    by: User,
    at: datetime,
) -> OilEntry:
    """Note what was poured into a drum. sure answers what is asked: a bag noted before, a drum that would run over.

    Stock that is past its date is written off, which pours it in by itself: the two books say the same.
    """
    if fluid == Fluid.EXPIRED:
        raise refused("fluid", EXPIRED, "write_off")
    amount = _microlitres(entered, "entered")
    if amount <= 0:
        raise refused("entered", f"{entered} cannot be poured. Give more than zero.", "nothing")
    _check_day(on, at)
    drum = _in_use(drum)
    if fluid not in TAKES[DrumKind(drum.holds)]:
        raise refused("drum", _wrong_drum(drum, fluid), "wrong_drum")
    asked = [] if sure else [*_noted_before(bag, fluid), *_runs_over(drum, amount)]
    if asked:
        raise refused("sure", f"{' '.join(asked)} {SURE}", "asked")
    entry = OilEntry(
        drum=drum, kind=OilEntryKind.IN, fluid=fluid, amount=amount, figures=entered.figures, unit=entered.unit,
        on=on, look=look, bag=bag, source=one_line(source), estimated=estimated, by=by, at=at,
    )  # fmt: skip
    return _kept(entry)


def pour_written_off(*, movement: Movement, drum: Drum, sure: bool, by: User, at: datetime) -> OilEntry:
    """Note what a writing-off pours into a drum, in its transaction; spent solvent where the drum collects that."""
    amount, drum = -movement.amount, _in_use(drum)
    if not sure and (asked := _runs_over(drum, amount)):
        raise refused("sure", f"{' '.join(asked)} {SURE}", "asked")
    told, what = _as_entered(amount), f"{movement.part.name} {movement.part.number}"
    entry = OilEntry(
        drum=drum, kind=OilEntryKind.IN,
        fluid=Fluid.SOLVENT if drum.holds == DrumKind.SOLVENT else Fluid.EXPIRED,
        amount=amount, figures=told.figures, unit=told.unit, on=local_day(at),
        source=one_line(f"{what}, {movement.lot}" if movement.lot else what)[:120], movement=movement, by=by, at=at,
    )  # fmt: skip
    return _kept(entry)


def follow_written_off(*, movement: Movement, amount: int, why: str, by: User, at: datetime) -> OilEntry | None:
    """Put the log's line of a writing-off right after its correction, µL that it should say; None: it has no line."""
    standing = movement.oil_entries.filter(corrected_by=None).first()
    if standing is None:
        return None
    return _corrected(entry=standing, entered=_as_entered(amount) if amount else None, why=why, by=by, at=at)


@transaction.atomic
def hand_over(
    *,
    drum: Drum,
    hauler: str,
    document: str = "",
    entered: Entered | None = None,
    emptied: bool = False,
    on: date,
    sure: bool = False,
    by: User,
    at: datetime,
) -> OilEntry:
    """Note that a hauler took a volume away; without one the whole content of a drum that was emptied.

    When more went than the book has, that is asked about; answered with sure, and for a drum that was emptied, the
    difference is a line of its own, so that the drum holds what it holds and the log still adds up.
    """
    drum = _locked(drum)
    _check_day(on, at)
    held = held_by(drum)
    if entered is None and not emptied:
        raise refused("entered", "Give the volume that was taken away, or say that the drum was emptied.", "nothing")
    entered = entered or _as_entered(held)
    amount = _microlitres(entered, "entered")
    if amount <= 0:
        raise refused("entered", f"{entered} cannot be handed over. {drum} holds {in_words(held)}.", "nothing")
    if amount > held and not sure:
        words = f"By the book {drum} holds {in_words(held)}; {entered} is {in_words(amount - held)} more."
        raise refused("sure", f"{words} Look at the hauler's paper again. {SURE}", "more_than_there")
    entry = _kept(
        OilEntry(
            drum=drum,
            kind=OilEntryKind.OUT,
            amount=-amount,
            figures=entered.figures,
            unit=entered.unit,
            on=on,
            hauler=one_line(hauler),
            document=one_line(document),
            emptied=emptied,
            by=by,
            at=at,
        )
    )
    difference = amount - held
    if difference and (emptied or difference > 0):
        told = _as_entered(difference)
        _kept(
            OilEntry(
                drum=drum,
                kind=OilEntryKind.FOUND,
                amount=difference,
                figures=told.figures,
                unit=told.unit,
                on=on,
                difference_of=entry,
                by=by,
                at=at,
            )
        )
    return entry


@transaction.atomic
def correct_entry(
    *,
    entry: OilEntry,
    why: str,
    entered: Entered | None = None,
    on: date | None = None,
    look: str | None = None,
    hauler: str | None = None,
    document: str | None = None,
    by: User,
    at: datetime,
) -> OilEntry:
    """Put a wrong line right by a new one that names it; entered None strikes it out. What is not given stays.

    The difference that was found at a handing over follows it, so that the drum holds afterwards what it held. A line
    of what was written off follows the stock's entry, and is corrected there.
    """
    if entry.movement_id:
        words = f"No. {entry.pk} follows entry {entry.movement_id} of the stock. Correct that one: the log follows it."
        raise refused("entered", words, "written_off")
    return _corrected(
        entry=entry, why=why, entered=entered, on=on, look=look, hauler=hauler, document=document, by=by, at=at
    )


def _corrected(
    *, entry: OilEntry, why: str, entered: Entered | None, on: date | None = None, look: str | None = None,
    hauler: str | None = None, document: str | None = None, by: User, at: datetime,
) -> OilEntry:  # fmt: skip
    drum = _locked(entry.drum)
    entry = OilEntry.objects.select_related("corrected_by").get(pk=entry.pk)
    if later := getattr(entry, "corrected_by", None):
        raise Conflict(f"No. {entry.pk} was corrected by no. {later.pk} already. Correct that one.", code="corrected")
    if entry.kind == OilEntryKind.FOUND:
        words = "A difference follows from its handing over. Correct the handing over instead."
        raise refused("entered", words, "difference")
    if not why.strip():
        raise refused("why", "Say why the line is corrected: 2 qt were written as 2 L.", "why")
    struck = entered is None
    entered = entered or _nothing()
    amount = _microlitres(entered, "entered")
    if not struck and amount <= 0:
        raise refused("entered", f"{entered} cannot be right. Give more than zero, or strike the line out.", "nothing")
    if on is not None:
        _check_day(on, at)
    out = entry.kind == OilEntryKind.OUT
    new = OilEntry(
        drum=drum, kind=entry.kind, fluid=entry.fluid, amount=-amount if out else amount, figures=entered.figures,
        unit=entered.unit, on=on or entry.on, look=entry.look if look is None else look, bag=entry.bag,
        source=entry.source, hauler=one_line(hauler) if hauler else entry.hauler,
        document=entry.document if document is None else one_line(document), emptied=entry.emptied,
        movement=entry.movement,
        corrects=entry, why=one_line(why), by=by, at=at,
    )  # fmt: skip
    found = _difference_of(entry)
    change = new.amount - entry.amount
    left = held_by(drum) + (0 if found else change)
    if left < 0:
        words = f"That leaves {in_words(left)} in {drum}: more was handed over than poured in. Correct that line first."
        raise refused("entered", words, "below_zero")
    _kept(new)
    if found:
        told = _as_entered(found.amount - change)
        _kept(
            OilEntry(
                drum=drum,
                kind=OilEntryKind.FOUND,
                amount=found.amount - change,
                figures=told.figures,
                unit=told.unit,
                on=new.on,
                corrects=found,
                why=f"follows no. {new.pk}",
                by=by,
                at=at,
            )
        )
    note(who=by, kind="drum", key=drum.pk, what=f"used-oil log no. {entry.pk} corrected: {new.why}", at=at)
    return new


@transaction.atomic
def keep_paper(*, entry: OilEntry, scan, by: User, at: datetime) -> OilPaper:
    """Keep a picture or a PDF of the hauler's paper with a handing over; the last page is the answer.

    scan is a file opened for reading, with a name. The same page twice is kept once.
    """
    _locked(entry.drum)
    if entry.kind != OilEntryKind.OUT:
        raise refused("scan", "Only a handing over has a hauler's paper.", "no_paper")
    try:
        pages = pictures_of(scan)
    except ValidationError as error:
        raise renamed(error, __all__="scan") from error
    known = {one.digest: one for one in entry.papers.all()}
    if len(known) + len(pages) > MOST_PAPERS:
        words = f"No. {entry.pk} has {len(known)} of at most {MOST_PAPERS} pages; {len(pages)} more are too many."
        raise refused("scan", words, "too_many")
    for page in pages:
        digest = hashlib.sha256(page.content).hexdigest()
        if digest not in known:
            paper = OilPaper(
                entry=entry, digest=digest, width=page.width, height=page.height, file_name=str(scan.name)[-200:],
                by=by, at=at,
            )  # fmt: skip
            paper.full_clean()
            if not default_storage.exists(paper.path):  # the file first: a row never names one that is not there
                default_storage.save(paper.path, ContentFile(page.content))
            paper.save()
            known[digest] = paper
        last = known[digest]
    return last


def _difference_of(entry: OilEntry) -> OilEntry | None:
    """The line of a handing over's difference that stands."""
    first = entry
    while first.corrects_id:
        first = first.corrects
    found = OilEntry.objects.filter(difference_of=first).first()
    while found and (later := OilEntry.objects.filter(corrects=found).first()):
        found = later
    return found


def _kept(entry: OilEntry) -> OilEntry:
    entry.full_clean()
    entry.save(force_insert=True)
    return entry


def _locked(drum: Drum) -> Drum:
    return Drum.objects.select_for_update().get(pk=drum.pk)


def _in_use(drum: Drum) -> Drum:
    drum = _locked(drum)
    if drum.retired_at:
        raise Conflict(f"{drum} is out of use: nothing is poured into it any more. Choose another.", code="retired")
    return drum


def _check_day(on: date, at: datetime) -> None:
    today = local_day(at)
    if on > today:
        raise refused("on", f"{day_in_words(on)} has not come yet. Give today or an earlier day.", "future")


def _wrong_drum(drum: Drum, fluid: str) -> str:
    right = " or ".join(DrumKind(kind).label for kind, fluids in TAKES.items() if fluid in fluids)
    return (
        f"{drum} is for {drum.get_holds_display()}: {Fluid(fluid).label} poured into it may turn all of it into "
        f"hazardous waste. Choose a drum for {right}."
    )


def _noted_before(bag: str, fluid: str) -> list[str]:
    before = OilEntry.objects.standing().filter(bag=bag, amount__gt=0, fluid=fluid).last() if bag else None
    if before is None:
        return []
    told = f"{before.figures} {before.unit} of {bag} stand in the log already, no. {before.pk}"
    return [f"{told} of {day_in_words(before.on)}. Was it drained again?"]


def _runs_over(drum: Drum, amount: int) -> list[str]:
    over = held_by(drum) + amount - drum.capacity
    return [f"{drum} would be {in_words(over)} over its capacity. Is it the right drum?"] if over > 0 else []


def _microlitres(entered: Entered, field: str) -> int:
    amount = to_base_unit(entered.si, KitMeasure.VOLUME)
    if amount > MOST:
        raise refused(field, f"{entered} at once is a slip; at most {in_words(MOST)}.", "too_much")
    return amount


def _as_entered(amount: int) -> Entered:
    """A volume nobody typed, in the shop's unit."""
    symbol = shop_unit("volume")
    text = figures(abs(amount) * 1e-9, symbol, 3)
    text = ("-" if amount < 0 else "") + (text.rstrip("0").rstrip(".") if "." in text else text)
    return Entered(text, float(text), symbol, amount * 1e-9)


def _nothing() -> Entered:
    return Entered("0", 0.0, shop_unit("volume"), 0.0)
