from django.urls import path

from shop.web.tablet.views import asking, bench, closing, figures, oil, parts, steps

app_name = "tablet"
urlpatterns = [
    path("", bench.bench, name="bench"),
    path("figures/", figures.index, name="figures"),
    path("figures/<slug:name>/", figures.figure, name="figure"),
    path("<int:pk>/", bench.job, name="job"),
    path("<int:pk>/<int:number>/", steps.step, name="step"),
    path("<int:pk>/<int:number>/check/", steps.check, name="check"),
    path("<int:pk>/aim/", steps.aim, name="aim"),
    path("<int:pk>/readings/<int:reading_pk>/", steps.correct, name="correct"),
    path("<int:pk>/open-again/", closing.open_again, name="open_again"),
    path("<int:pk>/ask/", asking.ask, name="ask"),
    path("<int:pk>/take-sheet/", closing.take_sheet, name="take_sheet"),
    path("<int:pk>/parts/", parts.parts, name="parts"),
    path("<int:pk>/parts/swap/", parts.swap, name="swap"),
    path("<int:pk>/parts/take-back/", parts.take_back, name="take_back"),
    path("<int:pk>/oil/", oil.oil, name="oil"),
    path("<int:pk>/close/", closing.close, name="close"),
    path("orders/<int:pk>/close/", closing.close_order, name="close_order"),
]
