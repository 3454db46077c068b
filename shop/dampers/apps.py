from django.apps import AppConfig


class DampersConfig(AppConfig):
    name = "shop.dampers"
    found = "shop.dampers.found"
