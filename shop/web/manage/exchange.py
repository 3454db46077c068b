"""Tables in and out: what there is, one kind with its columns, one file from its arrival to its end."""

import tempfile

from django.core.exceptions import PermissionDenied
from django.http import FileResponse, Http404, JsonResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse_lazy
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from shop.core.clock import local_day
from shop.exchange import services
from shop.exchange.files.store import MOST_BYTES
from shop.exchange.files.writing import TYPES, csv_lines, write_xlsx
from shop.exchange.kinds import KINDS
from shop.exchange.selectors import kinds_for, progress, progress_in_words, runs_for
from shop.web.access import allow, takes_files
from shop.web.forms import KeyedForm, submit
from shop.web.manage.exchange_forms import TableForm
from shop.web.pages import page_of, sent, show

REST_OF_THE_FORM = 100_000
TRAIL = [("Import and export", reverse_lazy("manage:exchange"))]


@require_safe
@allow("exchange")
def exchange(request):
    context = {"kinds": kinds_for(request.user), "page": page_of(request, runs_for(request.user))}
    return show(request, "manage/exchange/overview.html", context)


@takes_files(MOST_BYTES + REST_OF_THE_FORM)
@allow("exchange")
def table(request, kind):
    """What a table of one kind looks like, and the form that takes one."""
    found = _kind(request, kind)
    form = TableForm(sent(request), request.FILES or None)
    if request.method == "POST" and (
        run := submit(form, services.receive_file, kind=found.name, by=request.user, at=timezone.now())
    ):
        return redirect(run)
    context = {"kind": found, "form": form, "trail": TRAIL}
    return show(request, "manage/exchange/table.html", context)


@require_safe
@allow("exchange")
def template(request, kind, file_format):
    """An empty table with one example line."""
    found = _kind(request, kind)
    example = {column.name: column.example for column in found.columns}
    return _file(found, [example], file_format, f"{found.name}-empty")


@require_safe
@allow("exchange")
def export(request, kind, file_format):
    found, now = _kind(request, kind), timezone.now()
    if file_format not in TYPES:
        raise Http404
    services.note_export(kind=found, file_format=file_format, by=request.user, at=now)
    return _file(found, found.rows(), file_format, f"{found.name}-{local_day(now):%Y-%m-%d}")


@require_safe
@allow("exchange")
def run(request, pk):
    return _run_page(request, _run(request, pk))


@require_safe
@allow("exchange")
def run_state(request, pk):
    """How far it has come, for the script of the page."""
    row = _run(request, pk)
    done, rows = progress(row) or (0, 0)
    told = {"state": row.state, "words": progress_in_words(row), "done": done, "rows": rows}
    return JsonResponse(told, headers={"Cache-Control": "no-store"})


@require_POST
@allow("exchange")
def run_bring_in(request, pk):
    return _after(request, pk, services.bring_in)


@require_POST
@allow("exchange")
def run_put_away(request, pk):
    return _after(request, pk, services.put_away)


def _after(request, pk, service):
    row, form = _run(request, pk), KeyedForm(request.POST)
    if made := submit(form, service, run=row, by=request.user, at=timezone.now()):
        return redirect(made)
    return _run_page(request, _run(request, pk), form)


def _run_page(request, row, form=None):
    context = {
        "run": row,
        "kind": KINDS[row.kind],
        "form": form,
        "key": KeyedForm(),
        "progress": progress(row),
        "words": progress_in_words(row),
        "trail": TRAIL,
    }
    return show(request, "manage/exchange/run.html", context)


def _kind(request, name):
    if name not in KINDS:
        raise Http404
    found = KINDS[name]
    if found not in kinds_for(request.user):
        raise PermissionDenied(f"{found.name.label} are kept by a manager. You are logged in as {request.user}.")
    return found


def _run(request, pk):
    return get_object_or_404(runs_for(request.user), pk=pk)


def _file(kind, rows, file_format, name):
    headers = {"Content-Disposition": f'attachment; filename="{name}.{file_format}"', "Cache-Control": "no-store"}
    if file_format == "csv":
        return StreamingHttpResponse(csv_lines(kind, rows), content_type=TYPES["csv"], headers=headers)
    if file_format != "xlsx":
        raise Http404
    file = tempfile.TemporaryFile()  # noqa: SIM115 - the response closes it
    write_xlsx(kind, rows, file)
    file.seek(0)
    return FileResponse(file, content_type=TYPES["xlsx"], headers=headers)
