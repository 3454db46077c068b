"""The paper to count the shelf on."""

from dataclasses import asdict, dataclass

from django.conf import settings
from django.template.loader import render_to_string

from shop.core.amounts import shop_unit, stock_amount
from shop.core.services import fingerprint
from shop.documents import render
from shop.documents.selectors import words
from shop.documents.services import Paper
from shop.parts.models import StockTake
from shop.parts.takes import rows_of


@dataclass(frozen=True)
class Line:
    bin: str
    name: str
    number: str
    place: str  # size and lot; empty when the part stands in none
    expected: str  # empty on a blind count
    boxes: list[str]  # what is written down, with its unit: "full ones", "opened, mL"


@dataclass(frozen=True)
class CountSheet:
    shop: str
    number: str
    title: str
    started: str
    blind: bool
    lines: list[Line]


def count_sheet(*, take: StockTake) -> Paper:
    """Every place of a stock take in walking order, with boxes for what is found; the book's figures unless blind."""
    paper = CountSheet(
        shop=settings.SHOP["name"],
        number=str(take.pk),
        title=take.title,
        started=words.moment(take.started_at),
        blind=take.blind,
        lines=[_line(row, take.blind) for row in rows_of(take)],
    )
    context = {"paper": paper, "title": f"Count sheet {paper.number}", "shop": paper.shop}
    pdf = render.write_pdf(render_to_string("documents/count_sheet.html", context))
    return Paper(fingerprint(asdict(paper)), None, pdf, f"stock-take-{take.pk}.pdf")


def _line(row, blind: bool) -> Line:
    unit = "pcs" if row.part.measure == "count" else shop_unit(row.part.measure)
    return Line(
        bin=row.part.bin,
        name=row.part.name,
        number=row.part.number,
        place=", ".join(str(one) for one in (row.container, row.lot) if one),
        expected="" if blind else stock_amount(row.expected, row.part.measure),
        boxes=["full ones", f"opened, {unit}"] if row.container else [unit],
    )
