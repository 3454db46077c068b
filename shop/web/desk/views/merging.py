"""Two entries of one customer, side by side, and made one."""

from django import forms
from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone

from shop.customers.duplicates import likely_same
from shop.customers.merging import FIELDS, held, merge_customers
from shop.customers.models import Customer
from shop.staff.models import AuditEntry
from shop.web.access import allow
from shop.web.desk import find
from shop.web.forms import FindForm, KeyedForm, submit
from shop.web.pages import number, sent, show

FOUND_SHOWN = 20


class MergeForm(KeyedForm):
    """Which of the two stays, and for each field of which of them it is kept. Versions: what the person compared."""

    stays = forms.ChoiceField(label="Who stays", widget=forms.RadioSelect)
    versions = forms.CharField(max_length=40, widget=forms.HiddenInput)

    def __init__(self, *args, pair, **kwargs):
        super().__init__(*args, **kwargs)
        self.pair = pair
        self.fields["stays"].choices = [(str(row.pk), f"{row}, number {row.pk}") for row in pair]
        self.fields["stays"].initial = str(pair[0].pk)
        self.fields["versions"].initial = " ".join(str(row.version) for row in pair)
        for name in FIELDS:
            if getattr(pair[0], name) != getattr(pair[1], name):
                choices = [(str(row.pk), getattr(row, name) or "nothing") for row in pair]
                label = "E-mail" if name == "email" else Customer._meta.get_field(name).verbose_name.capitalize()
                best = next((row for row in pair if getattr(row, name)), pair[0])
                self.fields[name] = forms.ChoiceField(
                    label=label, choices=choices, initial=str(best.pk), widget=forms.RadioSelect
                )

    def chosen(self):
        return [self[name] for name in ["stays", *FIELDS] if name in self.fields]

    def clean(self):
        data = super().clean()
        versions = data.get("versions", "").split()
        if len(versions) != 2 or not all(one.isascii() and one.isdigit() and len(one) < 10 for one in versions):
            raise forms.ValidationError("This page is not as it was made. Open it again.")
        seen = {str(row.pk): int(version) for row, version in zip(self.pair, versions, strict=True)}
        if "stays" not in data:
            return data
        stays = next(row for row in self.pair if str(row.pk) == data["stays"])
        gone = next(row for row in self.pair if row is not stays)
        keep = [name for name in FIELDS if name in self.fields and data.get(name) == str(gone.pk)]
        return {
            "request_key": data.get("request_key", ""), "gone": gone, "stays": stays, "keep_from_gone": keep,
            "versions": (seen[str(gone.pk)], seen[str(stays.pk)]),
        }  # fmt: skip


@allow("keep_customers")
def merge(request, pk):
    """First who is the same (?q= finds, likely ones are offered), then both side by side (?other=)."""
    row = get_object_or_404(Customer.objects.select_related("merged_into"), pk=pk)
    if row.merged_into and request.method != "POST":
        return redirect(row)
    if "other" in request.GET:
        return _compare(request, row, get_object_or_404(Customer, pk=number(request.GET["other"])))
    form = FindForm(request.GET, label="Name, phone, plate or frame number")
    found, alike = find.customers(form.text) if form.text else (Customer.objects.none(), "")
    context = {
        "customer": row,
        "find": form,
        "text": form.text,
        "alike": alike,
        "found": found.exclude(pk=row.pk)[:FOUND_SHOWN],
        "twins": likely_same(name=row.name, phone=row.phone, email=row.email, but=row),
    }
    return show(request, "desk/merge_find.html", context)


def _compare(request, one, other):
    if one.pk == other.pk:
        return redirect("desk:customer_merge", pk=one.pk)
    pair = [one, other]
    form = MergeForm(sent(request), pair=pair)
    if request.method == "POST" and (made := submit(form, merge_customers, by=request.user, at=timezone.now())):
        messages.success(request, f"The two entries are one now: {made}, number {made.pk}.")
        return redirect(made)
    history = AuditEntry.objects.filter(kind="customer")
    sides = [{"row": row, "held": held(row), "history": history.filter(key=str(row.pk))[:5]} for row in pair]
    return show(request, "desk/merge.html", {"form": form, "customer": one, "sides": sides})
