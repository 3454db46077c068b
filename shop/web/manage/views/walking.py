"""In which order one walks past the bins: said once, used by every list that is walked."""

from django import forms
from django.contrib import messages
from django.shortcuts import redirect
from django.urls import reverse_lazy
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from shop.parts.services import set_walking_order
from shop.parts.walking import present_walk, stretches
from shop.web.access import allow
from shop.web.forms import KeyedForm, submit
from shop.web.pages import sent, show

TRAIL = [("Stock", reverse_lazy("manage:stock"))]
EMPTY_ROWS = 3
MOST_ROWS = 220


class WalkForm(KeyedForm):
    """Rows of how bins begin and a number; cleans to the prefixes in the order of their numbers."""

    seen = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, data=None, *, found=(), seen=""):
        super().__init__(data)
        self.fields["seen"].initial = seen
        names = [self.data.get(f"prefix-{n}") for n in range(MOST_ROWS)] if data else []
        rows = [name for name in names if name is not None] or [""] * (len(found) + EMPTY_ROWS)
        self.rows = []
        for n in range(len(rows)):
            # After a refusal the rows stand as they were sent, whatever stretches there are by now.
            there = found[n] if n < len(found) else None
            self._add(n, there if there and rows[n] in ("", there.prefix) else None)

    def _add(self, n, stretch):
        named = stretch.prefix if stretch else f"row {n + 1}"
        self.fields[f"prefix-{n}"] = forms.CharField(label="Bins that begin with", max_length=20, required=False)
        self.fields[f"place-{n}"] = forms.IntegerField(
            label=f"Place of {named} on the way", min_value=1, max_value=9999, required=False,
            widget=forms.TextInput({"inputmode": "numeric"}),
        )  # fmt: skip
        if stretch:
            self.fields[f"prefix-{n}"].initial, self.fields[f"place-{n}"].initial = stretch.prefix, stretch.place
        self.rows.append((self[f"prefix-{n}"], self[f"place-{n}"], stretch))

    def clean(self):
        data = super().clean()
        numbered = []
        for n in range(len(self.rows)):
            prefix, place = data.pop(f"prefix-{n}", ""), data.pop(f"place-{n}", None)
            if place is not None and not prefix:
                self.add_error(
                    f"prefix-{n}", f"Place {place} has no bins: say how they begin, or take the number away."
                )
            elif place is not None:
                numbered.append((place, n, prefix))
        return data | {"prefixes": [prefix for *_, prefix in sorted(numbered)]}


@require_http_methods(["GET", "HEAD", "POST"])
@allow("keep_stock")
def walking_order(request):
    walk = present_walk()
    form = WalkForm(sent(request), found=stretches(walk), seen=walk.seen)
    if request.method == "POST" and submit(form, set_walking_order, by=request.user, at=timezone.now()):
        messages.success(request, "The walking order is saved. Pick lists and papers follow it from now on.")
        return redirect("manage:walking_order")
    return show(request, "manage/walking_order.html", {"form": form, "trail": TRAIL})
