from django.apps import AppConfig


class CustomersConfig(AppConfig):
    name = "shop.customers"
    found = "shop.customers.found"
