from django.urls import include, path

from shop.web.manage.reminders import reminders
from shop.web.manage.views import scans, staff, stock

app_name = "manage"
urlpatterns = [
    path("catalogue/", include("shop.web.manage.catalogue.urls")),
    path("sheets/", include("shop.web.manage.sheets.urls")),
    path("sheets/<int:pk>/scans/new/", scans.scan_add, name="scan_add"),
    path("sheets/<int:pk>/scans/<int:number>/", scans.scan, name="scan"),
    path("sheets/<int:pk>/scans/<int:number>/remove/", scans.scan_remove, name="scan_remove"),
    path("stock/", stock.stock, name="stock"),
    path("stock/receive/", stock.receive, name="receive"),
    path("stock/count/", stock.count, name="count"),
    path("reminders/", reminders, name="reminders"),
    path("staff/", staff.staff, name="staff"),
    path("staff/new/", staff.person_new, name="person_new"),
    path("staff/<int:pk>/", staff.person, name="person"),
    path("staff/<int:pk>/role/", staff.role, name="role"),
    path("staff/<int:pk>/password/", staff.password, name="password"),
    path("staff/<int:pk>/pin/", staff.pin, name="pin"),
    path("staff/<int:pk>/let-go/", staff.let_go, name="let_go"),
    path("staff/<int:pk>/take-back/", staff.take_back, name="take_back"),
]
