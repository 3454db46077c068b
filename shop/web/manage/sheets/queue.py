"""Drafts that wait for a second person, and the page on which that person holds one against its source."""

from django.contrib import messages
from django.db.models import Exists, OuterRef
from django.shortcuts import redirect
from django.urls import reverse_lazy
from django.utils import timezone
from django.views.decorators.http import require_safe

from shop.specs.models import SheetEdition, SheetStatus, SpecSheet
from shop.specs.search import rival_of, waiting, with_rival
from shop.specs.services import send_back, verify_sheet
from shop.web.access import allow
from shop.web.forms import submit
from shop.web.manage.sheet_forms import SendBackForm, VerifyForm
from shop.web.manage.sheets.words import TRAIL, in_detail, sheet_or_404
from shop.web.pages import page_of, show
from shop.web.words import count

QUEUE = [*TRAIL, ("To be verified", reverse_lazy("manage:sheets_queue"))]


@require_safe
@allow("verify_specs")
def sheets_queue(request):
    rows = with_rival(_with_own(waiting(), request.user)).select_related(
        "damper_model", "vehicle_model", "entered_by", "sent_back_by"
    )
    page = page_of(request, rows.prefetch_related("values"))
    rivals = SpecSheet.objects.in_bulk({sheet.rival for sheet in page if sheet.rival})
    now = timezone.now()
    context = {
        "page": page,
        "rows": [
            {
                "sheet": sheet,
                "waits": _waits(now - sheet.entered_at),
                "flags": sheet.flags(),
                "own": sheet.own,
                "rival": rivals.get(sheet.rival),
            }
            for sheet in page
        ],
        "next": _next_for(request.user),
        "trail": TRAIL,
    }
    return show(request, "manage/sheets_queue.html", context)


@allow("verify_specs")
def sheet_verify(request, pk):
    row = sheet_or_404(pk)
    if request.method != "POST":
        return _comparison(request, row) if row.status == SheetStatus.DRAFT else redirect(row)
    form = VerifyForm(request.POST, sheet=row, flags=row.flags())
    if submit(form, verify_sheet, sheet=row, by=request.user, at=timezone.now()):
        messages.success(request, f"{row} is verified: its figures reach the bench from the next check-in on.")
        return _go_on(request, row)
    return _comparison(request, row, verify=form)


@allow("verify_specs")
def sheet_send_back(request, pk):
    row = sheet_or_404(pk)
    if request.method != "POST":
        return redirect("manage:sheet_verify", pk)
    form = SendBackForm(request.POST, prefix="back")
    if submit(form, send_back, sheet=row, by=request.user, at=timezone.now()):
        messages.success(request, f"{row} is sent back to {row.entered_by}, with your note.")
        return _go_on(request, row)
    return _comparison(request, row, back=form)


def _comparison(request, row, verify=None, back=None):
    """The typed values beside the source. What was opened is what is verified: the edition goes with both forms."""
    flags, own = row.flags(), row.edition_by(request.user)
    verify = verify or VerifyForm(sheet=row, flags=flags, initial={"edition": row.edition})
    context = {
        "sheet": row,
        "flags": flags,
        "rival": rival_of(row),
        "own": own,
        "form": back if back is not None and back.is_bound else verify if verify.is_bound else None,
        "verify": verify,
        "back": back or SendBackForm(prefix="back", initial={"edition": row.edition}),
        "values": [in_detail(one, row) | {"tick": verify.tick(one.measure)} for one in row.values.all()],
        "scans": row.scans.select_related("by"),
        "waiting": waiting().count(),
        "trail": [*QUEUE, (row, row.get_absolute_url())],
    }
    return show(request, "manage/sheet_verify.html", context)


def _go_on(request, row):
    """To the next draft in the queue that this person may verify, else to the queue."""
    following = _next_for(request.user, after=row)
    return redirect("manage:sheet_verify", following.pk) if following else redirect("manage:sheets_queue")


def _next_for(user, after=None):
    """The draft that waits longest and is neither the person's own nor sent back; those entered later go first."""
    rows = _with_own(waiting(), user).filter(own=False, sent_back_why=None)
    if after is None:
        return rows.first()
    rows = rows.exclude(pk=after.pk)
    return rows.filter(entered_at__gte=after.entered_at).first() or rows.first()


def _with_own(rows, user):
    """Whether this person has entered or changed it, and therefore cannot verify it."""
    return rows.annotate(own=Exists(SheetEdition.objects.filter(sheet=OuterRef("pk"), by=user)))


def _waits(time) -> str:
    if time.days:
        return f"waits for {count(time.days, 'day')}"
    hours = time.seconds // 3600
    return f"waits for {count(hours, 'hour')}" if hours else "waits for less than an hour"
