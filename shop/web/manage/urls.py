from django.urls import include, path

from shop.web.manage import exchange
from shop.web.manage.reminders import reminders
from shop.web.manage.views import coverage, lookup, procedures, scans, staff, stock, walking

app_name = "manage"
urlpatterns = [
    path("catalogue/", include("shop.web.manage.catalogue.urls")),
    path("sheets/", include("shop.web.manage.sheets.urls")),
    path("sheets/coverage/", coverage.overview, name="coverage_overview"),
    path("sheets/coverage/<int:pk>/", coverage.coverage, name="coverage"),
    path("sheets/why/", lookup.why, name="why"),
    path("sheets/<int:pk>/scans/new/", scans.scan_add, name="scan_add"),
    path("sheets/<int:pk>/scans/<slug:digest>/", scans.scan, name="scan"),
    path("sheets/<int:pk>/scans/<slug:digest>/remove/", scans.scan_remove, name="scan_remove"),
    path("catalogue/procedures/", procedures.procedures, name="procedures"),
    path("catalogue/procedures/new/", procedures.procedure_new, name="procedure_new"),
    path("catalogue/procedures/<int:pk>/", procedures.procedure, name="procedure"),
    path("catalogue/procedures/<int:pk>/change/", procedures.procedure_change, name="procedure_change"),
    path("catalogue/procedures/<int:pk>/compare/", procedures.procedure_compare, name="procedure_compare"),
    path("catalogue/procedures/<int:pk>/edit/", procedures.procedure_edit, name="procedure_edit"),
    path(
        "catalogue/procedures/<int:pk>/make-current/", procedures.procedure_make_current, name="procedure_make_current"
    ),
    path("catalogue/procedures/<int:pk>/discard/", procedures.procedure_discard, name="procedure_discard"),
    path("catalogue/procedures/<int:pk>/steps/new/", procedures.step_new, name="procedure_step_new"),
    path("catalogue/procedures/<int:pk>/steps/<int:step_pk>/", procedures.step_change, name="procedure_step"),
    path("catalogue/procedures/<int:pk>/steps/<int:step_pk>/move/", procedures.step_move, name="procedure_step_move"),
    path(
        "catalogue/procedures/<int:pk>/steps/<int:step_pk>/remove/",
        procedures.step_remove,
        name="procedure_step_remove",
    ),
    path("stock/", stock.stock, name="stock"),
    path("stock/receive/", stock.receive, name="receive"),
    path("stock/count/", stock.count, name="count"),
    path("stock/walking-order/", walking.walking_order, name="walking_order"),
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
