"""Everybody changes their own password; a manager sets it for somebody who has forgotten theirs."""

from django import forms
from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.core.exceptions import ValidationError
from django.shortcuts import redirect
from django.utils import timezone

from shop.staff.services import set_password
from shop.staff.throttle import OwnPasswordThrottle
from shop.web.access import allow
from shop.web.forms import NewPasswordForm, submit
from shop.web.log_in import first_page, too_often
from shop.web.pages import sent, show_form


class OwnPasswordForm(NewPasswordForm):
    """Whoever sits down at a screen that was left open does not know the present one."""

    present = forms.CharField(
        max_length=128,
        strip=False,
        widget=forms.PasswordInput({"autocomplete": "current-password"}),
        label="Present password",
    )
    present.wide = True
    field_order = ["present", "password", "again"]

    def __init__(self, *args, user, **kwargs):
        super().__init__(*args, **kwargs)
        self.user = user

    def clean_present(self):
        if not self.user.check_password(self.cleaned_data["present"]):
            raise ValidationError("This is not your present password. Type it again, or ask a manager for a new one.")

    def clean(self):
        data = super().clean()
        data.pop("present", None)
        return data


@allow("look")
def own_password(request):
    """This browser stays logged in, every other is out."""
    if request.method == "POST" and (wait := too_often(request, OwnPasswordThrottle())):
        return wait
    form = OwnPasswordForm(sent(request), user=request.user)
    if request.method == "POST" and (
        made := submit(form, set_password, user=request.user, by=request.user, at=timezone.now())
    ):
        update_session_auth_hash(request, made)
        messages.success(request, "Your password is changed. Other browsers and programs have to log in with it.")
        return redirect(first_page(made))
    return show_form(
        request,
        form,
        title="Change my password",
        action="Change it",
        back=first_page(request.user),
        intro="Browsers that are logged in elsewhere, and tokens of programs, end with the old password.",
    )
