from django.apps import AppConfig


class ExchangeConfig(AppConfig):
    name = "shop.exchange"
