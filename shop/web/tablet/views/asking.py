from django import forms
from django.shortcuts import redirect
from django.utils import timezone

from shop.web.access import allow
from shop.web.forms import KeyedForm, submit, text_field
from shop.web.pages import sent, show
from shop.web.tablet.frame import find, form_page, of_job
from shop.workorders import services
from shop.workorders.models import JobStatus


class ProposeForm(KeyedForm):
    """What the bench needs; the desk gives the price."""

    what = forms.CharField(label="What more is needed", max_length=300)
    why = text_field(500, rows=2, label="Why", help_text="What was found, in words that the customer reads.")


@allow("work")
@form_page
def ask(request, pk):
    """The work needs more than was agreed: say what and why, and stop until the customer has answered."""
    job = find(pk)
    if request.method != "POST" and job.status != JobStatus.OPEN:
        return redirect(job)
    form = ProposeForm(sent(request))
    if request.method == "POST" and submit(
        form, services.propose_question, job=job, by=request.user, at=timezone.now()
    ):
        return redirect(job)
    return show(request, "tablet/ask.html", of_job(job, form=form))
