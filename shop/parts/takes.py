"""What a stock take's pages and papers show."""

from dataclasses import dataclass

from django.db.models import Count, Exists, OuterRef, Q, QuerySet

from shop.parts.models import Reservation, ReservationState, StockTake, StockTakeRow, Tally
from shop.parts.selectors import stock_of

# The book keeps one opened container of a size and lot: the part of its on hand that fills no whole one.
TWO_OPENED = (
    "Where two of one size and lot stand opened, add up what they hold: what fills whole ones counts under full ones, "
    "the rest under the opened one."
)


def takes() -> QuerySet[StockTake]:
    """All stock takes, the latest first, each with how many places it has and how many of them are counted."""
    counted = Q(rows__in=StockTakeRow.objects.filter(Exists(Tally.objects.filter(row=OuterRef("pk")))))
    return (
        StockTake.objects.order_by("-pk")
        .select_related("started_by", "finished_by")
        .annotate(places=Count("rows", distinct=True), counted=Count("rows", filter=counted, distinct=True))
    )


def rows_of(take: StockTake) -> QuerySet[StockTakeRow]:
    """The places of a take in walking order, with all that a row shows."""
    return take.rows.select_related("part", "container", "lot", "movement").prefetch_related("tallies__by")


@dataclass(frozen=True)
class Review:
    """What a count has found so far, before it is posted."""

    rows: list[StockTakeRow]
    uncounted: list[StockTakeRow]
    differing: list[StockTakeRow]
    holding: list[Reservation]  # of the parts of which less would stay than is held


def review(take: StockTake) -> Review:
    """The differences of a take, and who might go without; seven queries for any number of places."""
    rows = list(rows_of(take))
    differing = [row for row in rows if row.last and row.last.difference]
    change: dict = {}
    for row in differing:
        change[row.part] = change.get(row.part, 0) + row.last.difference
    less = [part for part, difference in change.items() if difference < 0]
    stock = stock_of(less)
    lacking = [part for part in less if stock[part.pk].on_hand + change[part] < stock[part.pk].held]
    holding = Reservation.objects.filter(part__in=lacking, state=ReservationState.HELD) if lacking and take.open else []
    return Review(
        rows=rows,
        uncounted=[row for row in rows if row.last is None],
        differing=differing,
        holding=list(holding.select_related("part")) if lacking and take.open else [],
    )
