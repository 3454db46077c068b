from django.urls import include, path

from shop.web.manage.reminders import reminders
from shop.web.manage.views import specs, staff, stock

app_name = "manage"
urlpatterns = [
    path("catalogue/", include("shop.web.manage.catalogue.urls")),
    path("sheets/", specs.sheets, name="sheets"),
    path("sheets/new/", specs.sheet_new, name="sheet_new"),
    path("sheets/<int:pk>/", specs.sheet, name="sheet"),
    path("sheets/<int:pk>/verify/", specs.sheet_verify, name="sheet_verify"),
    path("sheets/<int:pk>/withdraw/", specs.sheet_withdraw, name="sheet_withdraw"),
    path("stock/", stock.stock, name="stock"),
    path("stock/receive/", stock.receive, name="receive"),
    path("reminders/", reminders, name="reminders"),
    path("staff/", staff.staff, name="staff"),
    path("staff/new/", staff.person_new, name="person_new"),
    path("staff/<int:pk>/pin/", staff.pin, name="pin"),
]
