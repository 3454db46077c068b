"""The oil that is drained from one damper, into the used-oil log."""

from django import forms
from django.contrib import messages
from django.shortcuts import redirect
from django.utils import timezone

from shop.parts.models import Drum, Fluid, Look, OilEntry
from shop.parts.used_oil import drum_states, words_of
from shop.web.access import allow
from shop.web.fields import QuantityField
from shop.web.forms import KeyedForm, submit
from shop.web.pages import sent, show
from shop.web.tablet.frame import find, form_page, of_job
from shop.workorders.services import note_drained_oil
from shop.workorders.services.used_oil import oil_by_sheet


class DrainedForm(KeyedForm):
    """Volume and look of what came out, and the drum it went into."""

    entered = QuantityField(
        "volume",
        label="Oil drained",
        required=False,
        above_zero=True,
        high_si=0.1,
        template_name="tablet/_reading.html",
    )
    look = forms.ChoiceField(label="It looks", choices=Look.choices, widget=forms.RadioSelect)
    drum = forms.ModelChoiceField(Drum.objects.none(), label="Into drum", empty_label=None, widget=forms.RadioSelect)
    fluid = forms.ChoiceField(
        label="What it is", choices=[(one.value, one.label) for one in (Fluid.OIL, Fluid.MIXED)],
        widget=forms.RadioSelect, initial=Fluid.OIL,
    )  # fmt: skip
    sure = forms.BooleanField(label="It is right as I wrote it", required=False)

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        drums = Drum.objects.filter(retired_at=None).exclude(holds="solvent")
        self.fields["drum"].queryset = drums
        if len(drums) == 1:
            self.fields["drum"].initial = drums[0]

    @property
    def asks(self) -> bool:
        """Whether the box that answers a question belongs on the page."""
        return self.is_bound and ("sure" in self.data or "sure" in self.errors)


@allow("log_oil")
@form_page
def oil(request, pk):
    job = find(pk)
    form = DrainedForm(sent(request))
    if request.method == "POST":
        today = timezone.localdate()
        entry = submit(form, note_drained_oil, job=job, on=today, by=request.user, at=timezone.now())
        if entry:
            messages.success(request, f"In the used-oil log as no. {entry.pk}: {entry.figures} {entry.unit}.")
            return redirect("tablet:oil", pk)
    noted = OilEntry.objects.standing().filter(bag=job.tag, amount__gt=0).select_related("drum", "by")
    page = of_job(
        job,
        form=form,
        noted=[(entry, words_of(entry)) for entry in noted],
        estimate=oil_by_sheet(job.sheet),
        warnings=[(one.drum, one.warning) for one in drum_states() if one.warning],
        drums=form.fields["drum"].queryset,
    )
    return show(request, "tablet/oil.html", page)
