"""Which sheet holds for a damper, and why none of the others does."""

from django.urls import reverse_lazy
from django.views.decorators.http import require_safe

from shop.specs.candidates import explain
from shop.specs.selectors import sheet_for
from shop.web.access import allow
from shop.web.manage.lookup_forms import WhyForm
from shop.web.pages import show

TRAIL = [("Spec table", reverse_lazy("manage:sheets"))]


@require_safe
@allow("look")
def why(request):
    # A link that knows the damper only opens the form with it; the year is what asks.
    form = WhyForm(request.GET) if "year" in request.GET else WhyForm(initial=request.GET.dict())
    context = {"form": form, "trail": TRAIL}
    if form.is_valid():
        asked = form.cleaned_data
        place = (asked["damper_model"], asked["year"], asked["position"], asked["vehicle_model"])
        context |= {"found": sheet_for(*place), "candidates": explain(*place)}
    return show(request, "manage/why.html", context)
