"""Everything printed. A paper is rendered once and kept by what it says; asked for again, it comes from the store."""

import os
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from datetime import date, datetime
from pathlib import Path
from tempfile import NamedTemporaryFile

import structlog
from django.conf import settings
from django.core.files.storage import default_storage
from django.template.loader import render_to_string

from shop.core.services import fingerprint
from shop.documents import render, selectors
from shop.documents.selectors.words import site_address
from shop.parts.models import PurchaseOrder
from shop.workorders.models import OrderStatus, WorkOrder
from shop.workorders.selectors import figures_changed_of, on_bench
from shop.workorders.services import register_card

log = structlog.get_logger(__name__)
DIGITS_IN_QR = 12  # of the digest: enough to tell two cards of one order apart


@dataclass(frozen=True)
class Paper:
    """A printed paper: SHA-256 of what it says, its revision (job cards only), the PDF and a name to save it under."""

    digest: str
    revision: int | None
    pdf: bytes
    filename: str


@dataclass(frozen=True)
class CardState:
    """Whether a card that somebody holds is the one to work from, and in words why."""

    current: bool
    words: str


def job_card(*, order: WorkOrder, at: datetime) -> Paper:
    """The card of a checked-in order, under the next revision when it says anything else than the last one.

    ValidationError before check-in.
    """
    card, digest = _card_now(order)
    revision = register_card(order=order, digest=digest, at=at).number

    def make():
        address = site_address("desk:card_check", order.pk, revision, digest[:DIGITS_IN_QR])
        qr = render.qr(address, "Address that tells whether this card is the current one")
        context = {"card": card, "title": f"Job card {card.number}", "shop": card.shop, "revision": revision, "qr": qr}
        return render.write_pdf(render_to_string("documents/job_card.html", context))

    return Paper(digest, revision, _kept(f"{digest}-{revision}", make), f"{card.number}-job-card-{revision}.pdf")


def card_state(*, order: WorkOrder, revision: int, digest: str) -> CardState:
    """Answer for the QR code of a card: its revision and the first figures of its digest."""
    whole = len(digest) == DIGITS_IN_QR
    card = order.cards.filter(number=revision, digest__startswith=digest).first() if whole else None
    if card is None:
        return CardState(False, f"No card revision {revision} with this code was printed for {order}. Print the card.")
    last = order.cards.last()
    if last.number > revision:
        return CardState(
            False, f"Card revision {revision} of {order} is superseded by revision {last.number}. Put it away."
        )
    if _card_now(order)[1] != card.digest:
        return CardState(
            False, f"What card revision {revision} of {order} says has changed since. Print the card anew."
        )
    if order.status != OrderStatus.ON_BENCH:
        return CardState(False, f"{order} is {order.get_status_display()}: nothing is done by this card any more.")
    for job, changed in figures_changed_of(list(on_bench().filter(order=order))).items():
        if changed:
            return CardState(False, f"Stop at damper {job.tag}, {job.damper.where()}. {changed}")
    return CardState(True, f"Card revision {revision} of {order} is the current one.")


def pick_list_paper(*, order: WorkOrder, at: datetime) -> Paper:
    """The parts to gather for an order as the stock stands now; it says so, and is therefore rendered each time."""
    paper = selectors.pick_paper(order, at)
    context = {
        "paper": paper,
        "title": f"Pick list {paper.number}",
        "shop": paper.shop,
        "rows": [(row, render.qr(row.number, f"Part number {row.number}")) for row in paper.rows],
        "qr": render.qr(site_address("desk:pick_list", order.pk), "Address of this pick list as it is now"),
    }
    pdf = render.write_pdf(render_to_string("documents/pick_list.html", context))
    return Paper(_digest(asdict(paper)), None, pdf, f"{paper.number}-pick-list.pdf")


def day_picks_paper(*, day: date, without: Iterable[int] = (), address: str, at: datetime) -> Paper:
    """The parts to gather for a day over all orders as the stock stands now; address is its page on this site.

    Beside each part stands its number as a QR code, for the scan field of that page.
    """
    paper = selectors.day_picks_paper(day, without=without, at=at)
    context = {
        "paper": paper,
        "title": f"Pick list {paper.day}",
        "shop": paper.shop,
        "rows": [(row, render.qr(row.number, f"Part number {row.number}")) for row in paper.rows],
        "qr": render.qr(f"{settings.SITE_URL}{address}", "Address of this pick list as it is now"),
    }
    pdf = render.write_pdf(render_to_string("documents/day_picks.html", context))
    return Paper(_digest(asdict(paper)), None, pdf, f"pick-list-{day.isoformat()}.pdf")


def oil_sheet(*, first: date, last: date, words: str, period: str) -> Paper:
    """The used-oil log of a span of days; words says which: "November 2026"."""
    sheet = selectors.oil_sheet(first, last, words)
    digest = _digest(asdict(sheet))

    def make():
        context = {"paper": sheet, "title": f"Used-oil log, {words}", "shop": sheet.shop}
        return render.write_pdf(render_to_string("documents/oil_sheet.html", context))

    return Paper(digest, None, _kept(digest, make), f"used-oil-{period}-{first.isoformat()}.pdf")


def bag_tags(*, order: WorkOrder) -> Paper:
    """A tag for each damper of an order, to cut apart; its QR code opens the damper's page on the tablet."""
    tags = selectors.tags(order)
    digest = _digest([asdict(tag) for tag in tags])

    def make():
        coded = [(tag, render.qr(tag.page, f"Page of damper {tag.tag}")) for tag in tags]
        context = {"tags": coded, "title": f"Tags {order.number}", "shop": tags[0].shop}
        return render.write_pdf(render_to_string("documents/bag_tags.html", context))

    return Paper(digest, None, _kept(digest, make), f"{order.number}-tags.pdf")


def service_record(*, order: WorkOrder) -> Paper:
    """What was found, set, left and used on each damper of a closed order. ValidationError before it is closed."""
    record = selectors.record(order)
    digest = _digest(asdict(record))

    def make():
        context = {"record": record, "title": f"Service record {record.number}", "shop": record.shop}
        return render.write_pdf(render_to_string("documents/service_record.html", context))

    return Paper(digest, None, _kept(digest, make), f"{record.number}-service-record.pdf")


def purchase_paper(*, order: PurchaseOrder) -> Paper:
    """An order to a supplier; a draft says that nothing is ordered by it."""
    paper = selectors.purchase(order)
    digest = _digest(asdict(paper))

    def make():
        context = {"paper": paper, "title": f"Purchase order {paper.number}", "shop": paper.shop}
        return render.write_pdf(render_to_string("documents/purchase_order.html", context))

    return Paper(digest, None, _kept(digest, make), f"{paper.number}.pdf")


def purchase_text(*, order: PurchaseOrder) -> str:
    """The same as plain text, for an e-mail."""
    return selectors.purchase(order).as_text()


def _card_now(order: WorkOrder) -> tuple[selectors.Card, str]:
    card = selectors.card(order)
    return card, _digest(asdict(card))


def _digest(content) -> str:
    """Of what a paper says, not of how it looks: a new release of the renderer makes no card in the shop old."""
    return fingerprint(content)


def _kept(name: str, make: Callable[[], bytes]) -> bytes:
    """The PDF kept under this name, made first if need be; two who make it at once do no harm."""
    path = Path(default_storage.path(f"documents/{name}-{render.look()[:12]}.pdf"))
    try:
        return path.read_bytes()
    except OSError:
        pdf = make()
    try:
        _write_whole(path, pdf)
    except OSError as error:  # a full disk costs the next one the time of rendering, but nobody the paper
        log.warning("paper_not_kept", name=name, error=str(error))
    return pdf


def _write_whole(path: Path, content: bytes) -> None:
    """The file appears whole or not at all, whatever happens meanwhile."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with NamedTemporaryFile(dir=path.parent, suffix=".new", delete=False) as draft:
        try:
            draft.write(content)
            draft.flush()
            os.fsync(draft.fileno())
            Path(draft.name).replace(path)
        except OSError:
            Path(draft.name).unlink(missing_ok=True)
            raise
