from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from shop.documents.selectors import picture
from shop.picklists.selectors import offers_of
from shop.web.access import allow
from shop.web.tablet import words
from shop.web.tablet.forms import TagForm
from shop.web.tablet.frame import find, of_job
from shop.workorders.agreed import question_covering
from shop.workorders.models import JobStatus, OrderStatus
from shop.workorders.selectors import bench_jobs, figures_changed_of, on_bench, settings_of


@allow("look")
@require_safe
def bench(request):
    """Jobs in the order in which they are promised; ?tag= leads to a damper, or to the dampers of an order."""
    form = TagForm(request.GET if "tag" in request.GET else None)
    jobs, status = bench_jobs().prefetch_related("order__questions"), 200
    if form.is_bound:
        named = list(on_bench().filter(**form.cleaned_data["tag"])) if form.is_valid() else []
        if len(named) == 1:
            return redirect(named[0])
        if form.is_valid() and not named:
            form.add_error("tag", f"No damper has the tag “{request.GET['tag'].strip()}”. Compare it with the bag.")
        jobs, status = named or jobs, 200 if named else 404
    jobs, rows = list(jobs), []
    changed = figures_changed_of(jobs)
    for job in jobs:
        lines = words.lines_of(job)
        late = job.status == JobStatus.OPEN and job.order.promised_for < timezone.now()
        rows.append(
            {
                "job": job,
                "lines": lines,
                "next": words.next_to_do(lines),
                "late": late,
                "changed": changed[job],
                "waits": question_covering(job),
            }
        )
    return render(request, "tablet/bench.html", {"form": form, "rows": rows}, status=status)


@allow("look")
@require_safe
def job(request, pk):
    job = find(pk)
    others = [one for one in on_bench().filter(order=job.order_id).kept() if one != job]
    page = of_job(
        job,
        aims=words.aims(job.sheet),
        picture=picture(job.sheet, job.order.bench_temperature_k),
        settings=settings_of(job),
        offers=offers_of(job.order.pick_list, list(job.order.pick_list.lines.all()), job.tag),
        others=others,
        to_book=job.order.status == OrderStatus.ON_BENCH
        and all(one.status == JobStatus.CLOSED for one in [job, *others]),
        may_work=request.user.may("work"),
        may_take=request.user.may("override"),
        may_ask=request.user.may("work"),
        may_correct=job.status == JobStatus.OPEN and request.user.may("work"),
    )
    return render(request, "tablet/job.html", page)
