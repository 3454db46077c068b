# Two images: "mail" catches letters for a trial; the last one is the site, used for web, worker and scheduler alike.
FROM python:3.11-slim-bookworm AS base
ENV PIP_DISABLE_PIP_VERSION_CHECK=1 PIP_NO_CACHE_DIR=1 PYTHONUNBUFFERED=1 PYTHONDONTWRITEBYTECODE=1
RUN useradd --system --uid 10001 --user-group --no-create-home damperbook
WORKDIR /app

FROM base AS mail
COPY requirements-dev.txt ./
# Out of the locked requirements, the SMTP server and what it needs.
RUN awk '/^[a-z]/ { wanted = /^(aiosmtpd|atpublic|attrs)==/ } wanted' requirements-dev.txt > mail.txt \
    && pip install --require-hashes --no-deps -r mail.txt
USER 10001
EXPOSE 8025
CMD ["python", "-m", "aiosmtpd", "--nosetuid", "--listen", "0.0.0.0:8025"]

FROM base AS site
# What WeasyPrint loads to print papers, and a font.
RUN apt-get update \
    && apt-get install --yes --no-install-recommends \
       fonts-dejavu-core libharfbuzz-subset0 libpango-1.0-0 libpangoft2-1.0-0 \
    && rm -rf /var/lib/apt/lists/*
COPY requirements.txt ./
RUN pip install --require-hashes --no-deps -r requirements.txt
COPY manage.py pyproject.toml ./
COPY templates templates
COPY static static
COPY api api
COPY shop shop
# The key signs nothing: it only lets the settings be read, and stays out of the image.
RUN python -m compileall -q shop api \
    && DAMPERBOOK_SECRET_KEY=for-collecting-static-files-only python manage.py collectstatic --noinput \
    && install --directory --owner=damperbook --group=damperbook var/media
USER 10001
EXPOSE 8000
CMD ["python", "-m", "gunicorn", "--config", "python:shop.gunicorn", "shop.wsgi:application", \
     "--bind", "0.0.0.0:8000", "--worker-tmp-dir", "/dev/shm"]
