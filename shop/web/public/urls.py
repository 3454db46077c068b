from django.urls import path

from shop.web.public import questions, views

app_name = "public"
urlpatterns = [
    path("q/<str:token>/", questions.question, name="question"),
    path("<str:token>/", views.reminder, name="reminder"),
    path("<str:token>/meter/", views.meter, name="meter"),
    path("<str:token>/sold/", views.sold, name="sold"),
    path("<str:token>/stop/", views.stop, name="stop"),
]
