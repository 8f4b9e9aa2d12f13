FROM python:3.11-slim-bookworm
WORKDIR /srv/fleet
RUN useradd --system --home /srv/fleet fleet && mkdir -p /srv/fleet/var && chown fleet /srv/fleet/var
COPY requirements/runtime.txt requirements/runtime.txt
RUN pip install --no-cache-dir --require-hashes -r requirements/runtime.txt
COPY . .
USER fleet
ENV FLEET_SHAPE=served
CMD ["gunicorn", "fleet.wsgi:application", "--bind", "0.0.0.0:8000", "--workers", "2", "--threads", "32", "--preload"]
