from urllib.parse import urlencode

from django.http import Http404
from django.shortcuts import render
from django.views.decorators.http import require_safe

from shop.figures.catalogue import CALCULATORS, groups
from shop.web.access import allow
from shop.web.tablet.figure_forms import FigureForm
from shop.web.tablet.reckoning import BEGUN

RESULT = "result"


@allow("look")
@require_safe
def index(request):
    return render(request, "tablet/figures.html", {"groups": groups()})


@allow("look")
@require_safe
def figure(request, name):
    """One calculator; the address holds what was typed. ?part=result gives the answer and the errors alone, for the
    module that asks while somebody types. From a step of a job (?begun=1) it comes filled in as far as the job goes."""
    calculator = CALCULATORS.get(name)
    if calculator is None:
        raise Http404
    live = request.GET.get("part") == RESULT
    begun = BEGUN in request.GET
    asked = live or begun or any(one.name in request.GET for one in calculator.inputs)
    form = FigureForm(calculator, request.GET if asked else None, live=live or begun)
    refused = form.is_bound and not form.is_valid()
    page = {
        "form": form,
        "calculator": calculator,
        "answer": form.answer,
        "example": f"{request.path}?{urlencode(calculator.example())}",
    }
    if live:
        return render(request, "tablet/_figure_live.html", page)
    return render(request, "tablet/figure.html", page, status=422 if refused else 200)
