from django.urls import path

from shop.web.manage.sheets import compare, copying, entry, listing, page, queue, table

urlpatterns = [
    path("", listing.sheets, name="sheets"),
    path("new/", entry.sheet_new, name="sheet_new"),
    path("limits/", entry.sheet_limits, name="sheet_limits"),
    path("copy/", copying.sheets_copy, name="sheets_copy"),
    path("compare/", compare.sheets_compare, name="sheets_compare"),
    path("table/", table.sheets_table, name="sheets_table"),
    path("queue/", queue.sheets_queue, name="sheets_queue"),
    path("<int:pk>/", page.sheet, name="sheet"),
    path("<int:pk>/change/", entry.sheet_change, name="sheet_change"),
    path("<int:pk>/verify/", queue.sheet_verify, name="sheet_verify"),
    path("<int:pk>/send-back/", queue.sheet_send_back, name="sheet_send_back"),
    path("<int:pk>/withdraw/", page.sheet_withdraw, name="sheet_withdraw"),
]
