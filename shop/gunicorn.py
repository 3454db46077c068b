"""How gunicorn runs the site: python -m gunicorn --config python:shop.gunicorn shop.wsgi:application"""

import os

from django.conf import settings

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")

worker_class = "gthread"
workers = 2
threads = 8
timeout = 60
control_socket_disable = True
# Its own lines look like those of the site, which also logs the requests: each with its id, without customers' links.
its_own = {"gunicorn.error": {"propagate": True}, "gunicorn.access": {"level": "CRITICAL", "propagate": False}}
logconfig_dict = settings.LOGGING | {"loggers": settings.LOGGING["loggers"] | its_own}
