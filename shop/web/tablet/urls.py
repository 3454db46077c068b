from django.urls import path

from shop.web.tablet import views

app_name = "tablet"
urlpatterns = [
    path("", views.bench, name="bench"),
    path("<int:pk>/", views.job, name="job"),
    path("<int:pk>/<int:number>/", views.step, name="step"),
    path("<int:pk>/<int:number>/check/", views.check, name="check"),
    path("<int:pk>/readings/<int:reading_pk>/", views.correct, name="correct"),
    path("<int:pk>/close/", views.close, name="close"),
    path("orders/<int:pk>/close/", views.close_order, name="close_order"),
]
