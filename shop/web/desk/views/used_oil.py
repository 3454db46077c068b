"""The used-oil log: drums, what is poured in, what is handed over, and the sheet of a day, a month or a year."""

import csv
import io
from dataclasses import dataclass
from datetime import date, timedelta

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.files.storage import default_storage
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse, reverse_lazy
from django.utils import timezone
from django.utils.http import urlencode
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from shop.core.errors import refused
from shop.core.images import IN_WORDS
from shop.documents import services as documents
from shop.exchange.cells import guard
from shop.exchange.files.writing import CSV_TYPE
from shop.parts import services
from shop.parts.models import Drum, DrumKind, Fluid, Look, OilEntry, OilEntryKind, OilPaper
from shop.parts.used_oil import CAUTION, PERIODS, drum_states, exact_ml, in_words, oil_log, span_of, words_of
from shop.web.access import allow, takes_files
from shop.web.fields import DayField, QuantityField, check_day
from shop.web.forms import AskedForm, Form, KeyedForm, submit
from shop.web.pages import number, sent, show, show_form
from shop.workorders.services import note_drained_oil
from shop.workorders.services.used_oil import job_of_bag

TRAIL = [("Stock", reverse_lazy("manage:stock")), ("Used-oil log", reverse_lazy("desk:oil_log"))]
MOST_BYTES = 16_000_000
form_page = require_http_methods(["GET", "HEAD", "POST"])
NO_SUCH_BAG = "No damper has the tag “{}”. Compare it with the bag, or leave it empty and say where it came from."


def volume_field(**kwargs):
    return QuantityField("volume", above_zero=True, high_si=10.0, **kwargs)


def drums_in_use():
    return Drum.objects.filter(retired_at=None)


class PourForm(AskedForm):
    drum = forms.ModelChoiceField(Drum.objects.none(), label="Into drum", empty_label=None)
    fluid = forms.ChoiceField(
        label="What",
        choices=[(one.value, one.label) for one in Fluid if one != Fluid.EXPIRED],
        initial=Fluid.OIL,
        help_text="Expired oil from stock is written off on its part's page, which notes it here.",
    )
    bag = forms.CharField(label="From bag", max_length=20, required=False, help_text="The damper's tag, like 1042-3.")
    entered = volume_field(
        label="Volume", required=False, help_text="In any unit: 340 mL, 2 qt. With a bag it may be empty: estimated."
    )
    look = forms.ChoiceField(label="Look", choices=[("", "not looked at"), *Look.choices], required=False)
    source = forms.CharField(label="Where it came from", max_length=120, required=False, help_text="Without a bag.")
    on = DayField(label="Day")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["drum"].queryset = drums = drums_in_use()
        self.fields["drum"].initial = drums.filter(holds=DrumKind.OIL).first()
        self.fields["on"].initial = timezone.localdate()


class HandOverForm(AskedForm):
    hauler = forms.CharField(label="Who took it away", max_length=120)
    document = forms.CharField(label="Number of the manifest or receipt", max_length=60, required=False)
    entered = volume_field(
        label="Volume on the hauler's paper",
        required=False,
        help_text="Empty: all that the book has, for a whole drum.",
    )
    emptied = forms.BooleanField(label="The drum was emptied", required=False)
    on = DayField(label="Day")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["on"].initial = timezone.localdate()


class CorrectForm(KeyedForm):
    entered = volume_field(label="Right volume", required=False)
    strike = forms.BooleanField(label="Strike the line out: nothing of it is true", required=False)
    on = DayField(label="Day")
    why = forms.CharField(label="Why it is corrected", max_length=200)

    def __init__(self, *args, entry, **kwargs):
        super().__init__(*args, **kwargs)
        if entry.kind == OilEntryKind.OUT:
            self.fields["hauler"] = forms.CharField(label="Who took it away", max_length=120, initial=entry.hauler)
            self.fields["document"] = forms.CharField(
                label="Number of the manifest or receipt", max_length=60, required=False, initial=entry.document
            )
        else:
            looks = [("", "not looked at"), *Look.choices]
            self.fields["look"] = forms.ChoiceField(label="Look", choices=looks, required=False, initial=entry.look)
        self.fields["entered"].initial, self.fields["on"].initial = f"{entry.figures} {entry.unit}", entry.on

    def clean(self):
        data = super().clean()
        if data.pop("strike", False):
            data["entered"] = None
        elif not data.get("entered") and "entered" not in self.errors:
            self.add_error("entered", "Give the right volume, or tick that the line is struck out.")
        return data


class DrumForm(KeyedForm):
    name = forms.CharField(label="Name, as it is marked", max_length=40)
    holds = forms.ChoiceField(label="For", choices=DrumKind.choices)
    capacity = volume_field(label="Filled to at most", help_text="With its unit: 200 L, 55 gal.")


class SpanForm(Form):
    period = forms.ChoiceField(label="Of", choices=[(one, f"the {one}") for one in PERIODS], required=False)
    on = DayField(label="in which lies", required=False)


@dataclass(frozen=True)
class Span:
    """The day, month or year that a page, a paper or a file tells of."""

    period: str
    on: date

    @classmethod
    def of(cls, asked):
        form = SpanForm({"period": asked.get("period"), "on": asked.get("on")})
        form.is_valid()
        on = form.cleaned_data.get("on") or timezone.localdate()
        try:
            check_day(on)
        except ValidationError:
            on = timezone.localdate()
        return cls(form.cleaned_data.get("period") or "month", on)

    @property
    def days(self) -> tuple[date, date]:
        return span_of(self.period, self.on)

    @property
    def words(self) -> str:
        first, _ = self.days
        if self.period == "day":
            return f"{first:%A} {first.day} {first:%B} {first.year}"
        return f"{first:%B} {first.year}" if self.period == "month" else f"{first.year}"

    def query(self, on: date | None = None) -> str:
        return urlencode({"period": self.period, "on": (on or self.on).isoformat()})


@require_safe
@allow("look")
def log(request):
    span = Span.of(request.GET)
    first, last = span.days
    found = oil_log(first, last)
    context = {
        "trail": TRAIL[:1],
        "span": span,
        "find": SpanForm({"period": span.period, "on": span.on}),
        "before": span.query(first - timedelta(days=1)) if first > date(1990, 1, 31) else "",
        "after": span.query(last + timedelta(days=1)) if last < timezone.localdate() else "",
        "query": span.query(),
        "drums": [
            {"state": one, "held": in_words(one.held), "percent": min(one.percent, 100)} for one in drum_states()
        ],
        "logs": [told(one) for one in found.drums],
        "caution": CAUTION,
        "may_log": request.user.may("log_oil"),
        "may_keep": request.user.may("keep_drums"),
    }
    return show(request, "desk/oil_log.html", context)


def told(one):
    """A drum's log with its volumes as the page and the paper show them."""
    sums = {name: getattr(one, name) for name in ("opening", "poured", "handed_over", "difference", "closing")}
    return {
        "drum": one.drum,
        "lines": [
            {
                "entry": line.entry,
                "words": line.words,
                "note": line.note,
                "counts": line.counts,
                "poured": exact_ml(line.poured) if line.poured else "",
                "handed_over": exact_ml(line.handed_over) if line.handed_over else "",
                "difference": exact_ml(line.difference) if line.difference else "",
                "papers": list(line.entry.papers.all()),
                "takes_paper": line.counts and line.entry.kind == OilEntryKind.OUT and line.entry.amount,
                "correctable": line.counts and line.entry.kind != OilEntryKind.FOUND and line.entry.amount,
                "stock": line.entry.movement,
            }
            for line in one.lines
        ],
        **{name: exact_ml(amount) for name, amount in sums.items()},
        "closing_in_words": in_words(one.closing),
    }


@allow("log_oil")
@form_page
def pour(request):
    """Note what was poured into a drum; ?bag= fills in the bag."""
    if not drums_in_use().exists():
        messages.warning(request, "There is no drum yet. The front desk or a manager enters the first one.")
        return redirect("desk:oil_log")
    form = PourForm(sent(request), initial={"bag": request.GET.get("bag", "").replace("\0", "")[:20]})
    entry = submit(form, _pour, by=request.user, at=timezone.now()) if request.method == "POST" else None
    if entry:
        messages.success(request, f"Noted as no. {entry.pk}: {entry.figures} {entry.unit}, {words_of(entry)}.")
        return redirect("desk:oil_log")
    return show_form(
        request, form, title="Note used oil", action="Note it", trail=TRAIL, back=reverse("desk:oil_log"), intro=CAUTION
    )  # fmt: skip


def _pour(*, drum, fluid, bag, entered, look, source, on, sure, by, at):
    given = {"drum": drum, "fluid": fluid, "entered": entered, "look": look, "on": on, "sure": sure, "by": by, "at": at}
    if not bag:
        if entered is None:
            raise refused("entered", "Give the volume. Only oil of a bag can be estimated, by its sheet.", "nothing")
        return services.pour_in(**given, source=source)
    job = job_of_bag(bag)
    if job is None:
        raise refused("bag", NO_SUCH_BAG.format(bag), "no_bag")
    return note_drained_oil(job=job, **given)


@allow("keep_drums")
@form_page
def hand_over(request):
    """Enter what a hauler took from ?drum=."""
    if "drum" not in request.GET:
        return redirect("desk:oil_log")
    drum = get_object_or_404(Drum, pk=number(request.GET["drum"]))
    form = HandOverForm(sent(request))
    entry = (
        submit(form, services.hand_over, drum=drum, by=request.user, at=timezone.now())
        if request.method == "POST"
        else None
    )
    if entry:
        messages.success(request, f"Noted as no. {entry.pk}: {entry.figures} {entry.unit}, {words_of(entry)}.")
        return redirect("desk:oil_log")
    (state,) = drum_states([drum])
    return show_form(
        request,
        form,
        title=f"Handed over from {drum}",
        action="Enter it",
        trail=TRAIL,
        back=reverse("desk:oil_log"),
        intro=f"By the book it holds {state.words}. Keep the hauler's paper: it proves where the oil went.",
    )


@allow("keep_drums")
@form_page
def correct(request, pk):
    entry = get_object_or_404(OilEntry.objects.select_related("drum", "by"), pk=pk)
    form = CorrectForm(sent(request), entry=entry)
    made = (
        submit(form, services.correct_entry, entry=entry, by=request.user, at=timezone.now())
        if request.method == "POST"
        else None
    )
    if made:
        messages.success(request, f"No. {made.pk} takes the place of no. {pk}.")
        return redirect("desk:oil_log")
    return show_form(
        request,
        form,
        title=f"Correct no. {pk}",
        action="Correct it",
        trail=TRAIL,
        back=reverse("desk:oil_log"),
        intro=f"It says: {entry.figures} {entry.unit}, {words_of(entry)}, {entry.drum}, noted by {entry.by}. The wrong "
        "line stays to be read; the new one counts.",
    )


@allow("keep_drums")
@form_page
def drum_new(request):
    form = DrumForm(sent(request))
    if request.method == "POST" and (drum := submit(form, services.add_drum, by=request.user, at=timezone.now())):
        messages.success(request, f"{drum} is entered. Mark it with its name and with the words “Used Oil”.")
        return redirect("desk:oil_log")
    return show_form(
        request, form, title="New drum", action="Save", trail=TRAIL, back=reverse("desk:oil_log"), intro=CAUTION
    )


@require_POST
@allow("keep_drums")
def drum_retire(request, pk):
    drum = get_object_or_404(Drum, pk=pk)
    try:
        services.retire_drum(drum=drum, by=request.user, at=timezone.now())
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, f"{drum} is out of use. Its log stays.")
    return redirect("desk:oil_log")


class PaperForm(KeyedForm):
    scan = forms.FileField(
        label="The hauler's paper",
        max_length=200,
        help_text=f"{IN_WORDS[0].upper()}{IN_WORDS[1:]}, at most {MOST_BYTES // 1_000_000} MB.",
        widget=forms.ClearableFileInput({"accept": "image/jpeg,image/png,image/webp,image/tiff,application/pdf"}),
        error_messages={"required": "No file is chosen. Choose one.", "empty": "This file is empty. Choose another."},
    )


@takes_files(MOST_BYTES)
@allow("keep_drums")
@form_page
def paper_add(request, pk):
    """Keep the hauler's paper with a handing over."""
    entry = get_object_or_404(OilEntry.objects.select_related("drum"), pk=pk, kind=OilEntryKind.OUT)
    form = PaperForm(sent(request), request.FILES if request.method == "POST" else None)
    given = {"entry": entry, "by": request.user, "at": timezone.now()}
    if request.method == "POST" and (paper := submit(form, services.keep_paper, **given)):
        messages.success(request, f"{paper.file_name} is kept with no. {pk}.")
        return redirect("desk:oil_log")
    return show_form(
        request,
        form,
        title=f"Paper of no. {pk}",
        action="Keep it",
        trail=TRAIL,
        back=reverse("desk:oil_log"),
        intro=f"{entry.figures} {entry.unit}, {words_of(entry)}.",
    )


@require_safe
@allow("look")
def paper(request, pk, digest):
    """A page of the hauler's paper as a picture."""
    row = get_object_or_404(OilPaper, entry=pk, digest=digest)
    try:
        file = default_storage.open(row.path)
    except OSError as error:
        raise Http404(f"The picture of {row} is not in the storage any more.") from error
    answer = FileResponse(file, content_type="image/jpeg")
    answer["Cache-Control"] = "private, max-age=31536000, immutable"
    return answer


@require_safe
@allow("look")
@cache_control(private=True, no_store=True)
def sheet_pdf(request):
    span = Span.of(request.GET)
    paper = documents.oil_sheet(first=span.days[0], last=span.days[1], words=span.words, period=span.period)
    headers = {"Content-Disposition": f'inline; filename="{paper.filename}"'}
    return HttpResponse(paper.pdf, content_type="application/pdf", headers=headers)


COLUMNS = [
    "No.", "Day", "Drum", "Kind", "What", "Volume as entered", "Poured in, mL", "Handed over, mL", "Difference, mL",
    "Look", "Bag", "Hauler", "Document", "Estimated", "Counts", "Remark", "Noted by", "Noted at",
]  # fmt: skip


@require_safe
@allow("look")
@cache_control(private=True, no_store=True)
def log_csv(request):
    """The log of a span as a table; nothing in it runs in a spreadsheet."""
    span = Span.of(request.GET)
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow(COLUMNS)
    for one in oil_log(*span.days).drums:
        for line in one.lines:
            entry = line.entry
            # Figures of ours stay figures; whatever somebody typed is guarded.
            typed = [guard(text) for text in (str(one.drum), entry.get_kind_display(), line.words)]
            writer.writerow(
                [
                    entry.pk,
                    entry.on.isoformat(),
                    *typed,
                    f"{entry.figures} {entry.unit}",
                    exact_ml(line.poured),
                    exact_ml(line.handed_over),
                    exact_ml(line.difference),
                    entry.look,
                    guard(entry.bag),
                    guard(entry.hauler),
                    guard(entry.document),
                    "yes" if entry.estimated else "",
                    "yes" if line.counts else "no",
                    guard(line.note),
                    guard(str(entry.by)),
                    timezone.localtime(entry.at).isoformat(timespec="minutes"),
                ]
            )
    first, last = span.days
    name = f"used-oil-{first.isoformat()}-{last.isoformat()}.csv"
    body = b"\xef\xbb\xbf" + buffer.getvalue().encode("utf-8", "replace")
    return HttpResponse(body, content_type=CSV_TYPE, headers={"Content-Disposition": f'attachment; filename="{name}"'})
