import math

from django.conf import settings
from django.contrib.auth import views
from django.contrib.auth.forms import AuthenticationForm
from django.shortcuts import render, resolve_url

from shop.staff.demo_log_ins import LOG_INS
from shop.staff.models import Role
from shop.staff.throttle import LogInThrottle
from shop.web.refusals import InOurWords


def first_page(user) -> str:
    """A technician begins at the bench, everybody else with the day sheet."""
    return resolve_url("tablet:bench" if user.role == Role.TECHNICIAN else "desk:day")


def too_often(request, throttle):
    """The page that says to wait, when passwords are tried more often than the throttle allows; else None."""
    if throttle.allow_request(request, None):
        return None
    wait = math.ceil(throttle.wait() or 60)
    page = render(request, "429.html", {"seconds": wait}, status=429)
    page["Retry-After"] = str(wait)
    return page


class LogInForm(InOurWords, AuthenticationForm):
    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "User name"


class LogIn(views.LoginView):
    form_class = LogInForm
    template_name = "staff/log_in.html"
    redirect_authenticated_user = True

    def post(self, request, *args, **kwargs):
        return too_often(request, LogInThrottle()) or super().post(request, *args, **kwargs)

    def get_default_redirect_url(self):
        return first_page(self.request.user)

    def get_context_data(self, **kwargs):
        return super().get_context_data(demo_log_ins=LOG_INS if settings.DEMO else [], **kwargs)


class LogOut(views.LogoutView):
    pass
