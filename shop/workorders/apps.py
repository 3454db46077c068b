from django.apps import AppConfig


class WorkordersConfig(AppConfig):
    name = "shop.workorders"
    found = "shop.workorders.found"
