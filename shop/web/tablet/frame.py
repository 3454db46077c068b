"""What every page of one damper shows around its own matter."""

from django.http import Http404
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from shop.dampers.measures import Measure
from shop.documents.selectors.words import as_entered
from shop.web.links import why_this_sheet
from shop.web.tablet import words
from shop.web.tablet.reckoning import calculators_for
from shop.workorders.agreed import agreed_in_words, declined_in_words, question_covering, stops_in_words
from shop.workorders.kit import oil_of
from shop.workorders.models import JobStatus
from shop.workorders.selectors import barred_by, figures_changed, on_bench, settings_of

form_page = require_http_methods(["GET", "HEAD", "POST"])


def find(pk):
    return get_object_or_404(on_bench(), pk=pk)


def of_job(job, **more):
    """What the frame of every page of a damper shows."""
    lines, books = words.lines_of(job), list(job.readings.all())
    return {
        "job": job,
        "sheet": job.sheet,
        "open": job.status == JobStatus.OPEN,
        "lines": lines,
        "next_line": words.next_to_do(lines),
        "books": books,
        "changed": figures_changed(job),
        "asked": stops_in_words(job, question_covering(job)),
        "declined": declined_in_words(job),
        "agreed": agreed_in_words(job.order),
        "holds": why_this_sheet(job.damper),
        "last": books and f"{books[-1].get_measure_display()} {as_entered(books[-1])}",
        **more,
    }


def of_step(job, number):
    """The frame's data, and where this step stands between the others. Http404 for a step the damper does not have."""
    page = of_job(job)
    lines = page["lines"]
    here = next((line for line in lines if line.step.number == number), None)
    if here is None:
        raise Http404
    before, after = lines[: here.count - 1], lines[here.count :]
    first = barred_by([line.state for line in lines], here.step)
    settings = settings_of(job) if here.step.as_left or here.count == 1 else []
    return page | {
        "here": here,
        "aim": words.aim(page["sheet"], here.state.value) if here.state.value else None,
        "previous": address(job, before[-1]) if before else job.get_absolute_url(),
        "next": address(job, after[0]) if after else reverse("tablet:close", args=[job.pk]),
        "gauge": words.before_the_gauge(page["sheet"], here.state.reading) if page["open"] else "",
        "calculators": calculators_for(here.state),
        "barred_by": next((line for line in before if line.state is first), None),
        "settings": settings,
        "oil": oil_of(job.order.pick_list.lines.filter(tag=job.tag), job.sheet)
        if here.step.reading == Measure.OIL_VOLUME
        else "",
        # The first step compares the damper with what was found; where settings are left, the form shows what was.
        "told": [one for one in settings if one.left or not here.step.as_left],
    }


def address(job, line):
    return reverse("tablet:step", args=[job.pk, line.step.number])
