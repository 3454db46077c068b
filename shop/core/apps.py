from django.apps import AppConfig


class CoreConfig(AppConfig):
    name = "shop.core"

    def ready(self):
        # Tasks register on the shop's own Celery app: it has to exist before the first task module is read.
        from django_structlog.signals import bind_extra_request_metadata

        from shop import celery  # noqa: F401
        from shop.core.addresses import note_address

        bind_extra_request_metadata.connect(note_address)
        self._keep_the_search_in_step()

    def _keep_the_search_in_step(self):
        from django.db.backends.signals import connection_created
        from django.db.models.signals import post_migrate, pre_migrate

        from shop.core.search import index

        connection_created.connect(index.give_functions)
        pre_migrate.connect(index.before_migrating, sender=self)
        post_migrate.connect(index.after_migrating, sender=self)
