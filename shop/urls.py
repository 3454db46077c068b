from django.urls import include, path

from shop.web import health
from shop.web.log_in import LogIn, LogOut
from shop.web.own_password import own_password

urlpatterns = [
    path("healthz", health.healthz, name="healthz"),
    path("readyz", health.readyz, name="readyz"),
    path("log-in/", LogIn.as_view(), name="log_in"),
    path("log-out/", LogOut.as_view(), name="log_out"),
    path("my-password/", own_password, name="own_password"),
    path("bench/", include("shop.web.tablet.urls")),
    path("manage/", include("shop.web.manage.urls")),
    path("r/", include("shop.web.public.urls")),
    path("api/", include("api.urls")),
    path("", include("shop.web.desk.urls")),
]

handler400 = "shop.web.errors.bad_request"
handler403 = "shop.web.errors.forbidden"
handler404 = "shop.web.errors.not_found"
