from django.urls import include, path

from shop.web.manage import exchange
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
    path("stock/count/", stock.count, name="count"),
    path("reminders/", reminders, name="reminders"),
    path("exchange/", exchange.exchange, name="exchange"),
    path("exchange/files/<int:pk>/", exchange.run, name="import_run"),
    path("exchange/files/<int:pk>/state/", exchange.run_state, name="import_state"),
    path("exchange/files/<int:pk>/bring-in/", exchange.run_bring_in, name="import_bring_in"),
    path("exchange/files/<int:pk>/put-away/", exchange.run_put_away, name="import_put_away"),
    path("exchange/<slug:kind>/", exchange.table, name="table"),
    path("exchange/<slug:kind>/empty.<slug:file_format>", exchange.template, name="table_empty"),
    path("exchange/<slug:kind>/all.<slug:file_format>", exchange.export, name="table_all"),
    path("staff/", staff.staff, name="staff"),
    path("staff/new/", staff.person_new, name="person_new"),
    path("staff/<int:pk>/", staff.person, name="person"),
    path("staff/<int:pk>/role/", staff.role, name="role"),
    path("staff/<int:pk>/password/", staff.password, name="password"),
    path("staff/<int:pk>/pin/", staff.pin, name="pin"),
    path("staff/<int:pk>/let-go/", staff.let_go, name="let_go"),
    path("staff/<int:pk>/take-back/", staff.take_back, name="take_back"),
]
