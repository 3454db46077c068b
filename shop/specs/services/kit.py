"""Parts lists: what a rebuild of one damper takes, what an inspection may add, what may stand in for a part.

Every change is judged against the list as it will be: one set of rules for a single line and for a whole list.
"""

from dataclasses import dataclass
from datetime import datetime

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import transaction

from shop.core.amounts import stock_amount
from shop.core.errors import Conflict, refused
from shop.core.rows import one_line
from shop.dampers.models import DamperModel
from shop.specs.models import MOST_AT_ONCE, KitLine, KitMeasure, years_in_words
from shop.specs.parts_lists import as_seen, in_order, share_a_year
from shop.staff.models import User
from shop.staff.services import note as audit

MOST_LINES = 40  # of one parts list: the page sends them all at once


@dataclass(frozen=True)
class ListedPart:
    """A row of a parts list as it shall be. stands_in_for is the part number of a row of the same list."""

    part_number: str
    name: str
    measure: str
    amount: int | None
    year_from: int | None = None
    year_to: int | None = None
    optional: bool = False
    stands_in_for: str = ""
    rank: int | None = None
    line: KitLine | None = None  # the one that it changes; None: a new one


@transaction.atomic
def add_kit_line(
    *,
    damper_model: DamperModel,
    part_number: str,
    name: str,
    measure: str,
    amount: int | None,
    year_from: int | None = None,
    year_to: int | None = None,
    optional: bool = False,
    stands_in_for: KitLine | None = None,
    rank: int | None = None,
    by: User,
    at: datetime,
) -> KitLine:
    """Add a part or fluid to what a rebuild of one such damper takes; orders take it up when they are filled next.

    amount in base units; None for a volume means the oil volume of the spec sheet. An optional one is taken only when
    the inspection asks for it. One that stands in for another line is its alternate; without a rank, the last one.
    """
    damper_model = _locked(damper_model)
    there = list(damper_model.kit_lines.select_related("stands_in_for"))
    _check_length(len(there) + 1)
    line = KitLine(
        damper_model=damper_model,
        part_number=part_number.strip(),
        name=one_line(name),
        measure=measure,
        amount=amount,
        year_from=year_from,
        year_to=year_to,
        optional=optional,
        stands_in_for=_of_the_list(stands_in_for, there),
    )
    line.rank = _rank(line, rank, there)
    check_line(line, there)
    line.full_clean()
    line.save()
    audit(who=by, kind="dampermodel", key=damper_model.pk, what=f"parts list: {line_in_words(line)}", at=at)
    return line


@transaction.atomic
def change_kit_line(
    *,
    line: KitLine,
    part_number: str,
    name: str,
    measure: str,
    amount: int | None,
    year_from: int | None = None,
    year_to: int | None = None,
    optional: bool = False,
    stands_in_for: KitLine | None = None,
    rank: int | None = None,
    seen: str,
    by: User,
    at: datetime,
) -> KitLine:
    """Change a line in place. seen is as_seen of the whole list when it was read; Conflict "stale" when it is another.

    Booked orders take the change up when they are filled next; orders on the benches keep what they began with.
    """
    damper_model = _locked(line.damper_model)
    there = list(damper_model.kit_lines.select_related("stands_in_for"))
    _check_seen(damper_model, there, seen)
    line = next(one for one in there if one.pk == line.pk)  # of the list that was seen, so it is there
    others = [one for one in there if one is not line]
    before = line_in_words(line)
    line.part_number, line.name, line.measure, line.amount = part_number.strip(), one_line(name), measure, amount
    line.year_from, line.year_to, line.optional = year_from, year_to, optional
    line.stands_in_for = _of_the_list(stands_in_for, there)
    line.rank = _rank(line, rank, others)
    check_line(line, others)
    line.full_clean()
    line.save()
    _tell_change(damper_model, before, line, by, at)
    return line


@transaction.atomic
def remove_kit_line(*, line: KitLine, by: User, at: datetime) -> None:
    """Take a line off a parts list, and its alternates with it. Twice is as good as once.

    Jobs on the bench keep what was picked for them.
    """
    damper_model = _locked(line.damper_model)
    there = list(damper_model.kit_lines.select_related("stands_in_for"))
    gone = [one for one in there if line.pk in (one.pk, one.stands_in_for_id)]
    KitLine.objects.filter(pk__in=[one.pk for one in gone]).delete()
    for one in gone:
        _tell_removal(damper_model, one, by, at)


@transaction.atomic
def write_parts_list(
    *, damper_model: DamperModel, lines: list[ListedPart], seen: str, by: User, at: datetime
) -> DamperModel:
    """Make a parts list say exactly this, all of it or nothing; lines that are not named come off.

    seen is as_seen of the list when it was read; Conflict "stale" when it is another by now. A refusal names each field
    by its place in the list, from 0: "lines.2.amount".
    """
    damper_model = _locked(damper_model)
    there = {one.pk: one for one in damper_model.kit_lines.select_related("stands_in_for")}
    _check_seen(damper_model, there.values(), seen)
    _check_length(len(lines))
    strangers = [one for one in lines if one.line and one.line.pk not in there]
    if strangers:
        words = f"{strangers[0].line} is no line of the parts list of {damper_model}. Read the list again."
        raise refused("lines", words, "other_list")
    named = [one.line.pk for one in lines if one.line]
    if len(set(named)) < len(named):
        raise refused("lines", "A line of the list is named twice. Name each once.", "twice")
    before = {pk: (line_in_words(one), _told(one)) for pk, one in there.items()}
    rows = [_row(one, there, damper_model) for one in lines]
    errors = _Errors()
    for number, (asked, row) in enumerate(zip(lines, rows, strict=True)):
        row.stands_in_for = None
        if asked.stands_in_for.strip():
            with errors.of(number):
                row.stands_in_for = _named(asked.stands_in_for, row, rows)
    given: list[KitLine] = []
    for asked, row in zip(lines, rows, strict=True):
        row.rank = _rank(row, asked.rank, given)
        given.append(row)
    for number, row in enumerate(rows):
        with errors.of(number):
            check_line(row, [one for one in rows if one is not row])
        with errors.of(number):
            row.full_clean(validate_constraints=False)
    errors.raise_all()
    kept = {row.pk for row in rows if row.pk}
    gone = [one for pk, one in there.items() if pk not in kept]
    # A line that comes off takes its alternates with it, unless the list keeps them as lines of their own.
    KitLine.objects.filter(pk__in=kept).update(stands_in_for=None, rank=0)
    KitLine.objects.filter(pk__in=[one.pk for one in gone]).delete()
    for number, row in sorted(enumerate(rows), key=lambda one: one[1].stands_in_for is not None):
        with errors.of(number):
            row.stands_in_for = row.stands_in_for  # its key, now that it is saved
            row.full_clean()
            row.save()
    errors.raise_all()
    for one in gone:
        _tell_removal(damper_model, one, by, at, before[one.pk][0])
    for row in rows:
        if row.pk not in before:
            audit(who=by, kind="dampermodel", key=damper_model.pk, what=f"parts list: {line_in_words(row)}", at=at)
        elif before[row.pk][1] != _told(row):
            _tell_change(damper_model, before[row.pk][0], row, by, at)
    return damper_model


@transaction.atomic
def copy_parts_list(*, damper_model: DamperModel, to: DamperModel, by: User, at: datetime) -> DamperModel:
    """Give another damper model, which has no parts list yet, a copy of this one's."""
    if damper_model.pk == to.pk:
        raise refused("to", "This is the list's own damper model. Choose another one.", "itself")
    to = _locked(to)
    if count := to.kit_lines.count():
        lines = f"{count} line{'' if count == 1 else 's'}"
        words = f"{to} has a parts list already, of {lines}. Add to it, or take those off first."
        raise refused("to", words, "not_empty")
    lines = in_order(damper_model.kit_lines.all())
    if not lines:
        raise refused("to", f"{damper_model} has no parts list that could be copied. Enter one first.", "empty")
    copies = {}
    for line in lines:
        copies[line.pk] = copy = KitLine(
            damper_model=to,
            stands_in_for=copies.get(line.stands_in_for_id),
            **{name: getattr(line, name) for name in (*NAMED, "rank")},
        )
        copy.full_clean()
        copy.save()
    what = f"parts list copied from {damper_model}: {', '.join(one.part_number for one in lines)}"
    audit(who=by, kind="dampermodel", key=to.pk, what=what, at=at)
    return to


NAMED = ("part_number", "name", "measure", "amount", "year_from", "year_to", "optional")


def check_line(line: KitLine, others: list[KitLine]) -> None:
    """Refuse a line that cannot be beside the other ones of its list."""
    amount, measure = line.amount, line.measure
    if amount is not None and amount <= 0:
        raise ValidationError({"amount": f"No damper takes {stock_amount(amount, measure)}. Give more than zero."})
    most = MOST_AT_ONCE.get(measure)  # a measure that there is none of is refused with the row
    if amount is not None and most is not None and amount > most:
        words = f"{stock_amount(amount, measure)} for one damper is a slip; at most {stock_amount(most, measure)}."
        raise refused("amount", words, "too_much")
    if line.year_from is not None and line.year_to is not None and line.year_to < line.year_from:
        raise ValidationError({"year_to": f"{line.year_to} lies before the first model year, {line.year_from}."})
    number = line.part_number.casefold()
    rivals = [one for one in others if one.part_number.casefold() == number and share_a_year(one, line)]
    if rivals:
        raise ValidationError(
            {
                "part_number": f"{line_in_words(rivals[0])} is in this parts list already. "
                "Remove that line first, or give model years that it leaves free."
            },
            code="known",
        )
    if line.stands_in_for and not 1 <= line.rank <= MOST_LINES:
        raise refused("rank", f"A rank is a whole number from 1 to {MOST_LINES}, the first one to be offered.", "rank")
    if line.stands_in_for:
        _check_alternate(line, line.stands_in_for, others)
    for alternate in (one for one in others if one.stands_in_for is line or _same(one.stands_in_for, line)):
        if alternate.measure != measure:
            how = KitMeasure(alternate.measure).label
            words = f"{alternate} stands in for it and is measured in {how}. Change that line first."
            raise refused("measure", words, "other_measure")
        if not share_a_year(alternate, line):
            years = years_in_words(alternate.year_from, alternate.year_to)
            words = f"{alternate} stands in for it in {years}, which this leaves out. Change that line first."
            raise refused("year_from", words, "other_years")


def _check_alternate(line: KitLine, first: KitLine, others: list[KitLine]) -> None:
    def refuse(words, code):
        raise refused("stands_in_for", words, code)

    if line.optional:
        words = f"An alternate is optional when {first} is: mark that line instead, and leave this one unmarked."
        raise refused("optional", words, "alternate")
    if first is line or _same(first, line):
        refuse("A part cannot stand in for itself. Name another line.", "itself")
    if first.stands_in_for:
        refuse(f"{first} is itself an alternate, for {first.stands_in_for}. Name that line.", "chain")
    if other := next((one for one in others if one.stands_in_for is line or _same(one.stands_in_for, line)), None):
        refuse(f"{other} stands in for this line, so it cannot be an alternate besides.", "chain")
    if first.measure != line.measure:
        how = KitMeasure(first.measure).label if first.measure in KitMeasure.values else first.measure
        refuse(f"{first} is measured in {how}: an alternate is measured in the same.", "other_measure")
    if not share_a_year(first, line):
        years = years_in_words(first.year_from, first.year_to)
        refuse(f"{first} is for {years}, and the alternate for none of them. Give model years that meet.", "years")


def line_in_words(line: KitLine) -> str:
    """A line as the history tells it."""
    amount = "oil volume of the spec sheet" if line.amount is None else stock_amount(line.amount, line.measure)
    told = [str(line), amount, years_in_words(line.year_from, line.year_to)]
    if line.optional:
        told.append("if the inspection asks for it")
    if line.stands_in_for:
        told.append(f"in the place of {line.stands_in_for.part_number}, rank {line.rank}")
    return ", ".join(told)


def _locked(damper_model: DamperModel) -> DamperModel:
    return DamperModel.objects.select_for_update(no_key=True).get(pk=damper_model.pk)


def _check_seen(damper_model: DamperModel, there, seen: str) -> None:
    if as_seen(there) != seen:
        raise Conflict(
            f"Somebody else has changed the parts list of {damper_model} since you opened it. What you typed is still "
            "here: compare it with the list as it is now, then save again.",
            code="stale",
        )


def _check_length(count: int) -> None:
    if count > MOST_LINES:
        words = f"{count} lines are more than a parts list takes; at most {MOST_LINES}. Take off what is not needed."
        raise ValidationError(words, code="too_many")


def _of_the_list(line: KitLine | None, there: list[KitLine]) -> KitLine | None:
    if line is None:
        return None
    found = next((one for one in there if one.pk == line.pk), None)
    if found is None:
        raise refused("stands_in_for", f"{line} is no line of this parts list. Name one that is.", "other_list")
    return found


def _named(number: str, row: KitLine, rows: list[KitLine]) -> KitLine:
    """The row with this part number that shares a model year with the one that stands in for it, if one does."""
    found = [one for one in rows if one.part_number.casefold() == number.strip().casefold()]
    if not found:
        words = f"{number.strip()} is not in this parts list. Give the part number of another line."
        raise refused("stands_in_for", words, "not_listed")
    return next((one for one in found if share_a_year(one, row)), found[0])


def _rank(line: KitLine, rank: int | None, others: list[KitLine]) -> int:
    if line.stands_in_for is None:
        return 0
    if rank is not None:
        return rank
    return 1 + max((one.rank for one in others if _same(one.stands_in_for, line.stands_in_for)), default=0)


def _row(asked: ListedPart, there: dict[int, KitLine], damper_model: DamperModel) -> KitLine:
    row = there[asked.line.pk] if asked.line else KitLine(damper_model=damper_model)
    row.part_number, row.name, row.measure = asked.part_number.strip(), one_line(asked.name), asked.measure
    row.amount, row.optional = asked.amount, asked.optional
    row.year_from, row.year_to = asked.year_from, asked.year_to
    return row


def _same(one: KitLine | None, other: KitLine | None) -> bool:
    return one is not None and (one is other or (one.pk is not None and other is not None and one.pk == other.pk))


def _told(line: KitLine) -> tuple:
    return (*(getattr(line, name) for name in NAMED), line.stands_in_for_id, line.rank)


def _tell_change(damper_model: DamperModel, before: str, line: KitLine, by: User, at: datetime) -> None:
    if before != line_in_words(line):
        what = f"parts list changed: {before}; now {line_in_words(line)}"
        audit(who=by, kind="dampermodel", key=damper_model.pk, what=what, at=at)


def _tell_removal(damper_model: DamperModel, line: KitLine, by: User, at: datetime, before: str = "") -> None:
    what = f"off the parts list: {before or line_in_words(line)}"
    audit(who=by, kind="dampermodel", key=damper_model.pk, what=what, at=at)


class _Errors:
    """Refusals of single rows, gathered so that each is told at its row."""

    def __init__(self):
        self.found: dict[str, list] = {}

    def of(self, number: int):
        return _RowErrors(self, number)

    def raise_all(self) -> None:
        if self.found:
            raise ValidationError(self.found)


class _RowErrors:
    def __init__(self, errors: _Errors, number: int):
        self.errors, self.number = errors, number

    def __enter__(self):
        return self

    def __exit__(self, kind, error, traceback):
        if not isinstance(error, ValidationError):
            return False
        for name, sentences in error.update_error_dict({}).items():
            field = "part_number" if name == NON_FIELD_ERRORS else name
            told = self.errors.found.setdefault(f"lines.{self.number}.{field}", [])
            told += [one for one in sentences if str(one) not in {str(known) for known in told}]
        return True
