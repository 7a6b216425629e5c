"""The Celery application: beat wakes the engine every second, workers on Redis run it. Rows are the truth."""

import os
import re
import ssl
from typing import Any

from celery import Celery
from celery.signals import beat_init, worker_init

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clinic.settings")

from django.conf import settings

# What redis-py calls unix:// has another name here, and so has the number of the database behind it.
BROKER = settings.REDIS_URL
if BROKER.startswith("unix://"):
    BROKER = re.sub(r"([?&])db=", r"\1virtual_host=", BROKER.replace("unix://", "redis+socket://", 1))

app = Celery("wearwindow", broker=BROKER or None)
if BROKER.startswith("rediss://"):
    # Without it any certificate would do. An address that says ssl_… itself is taken at its word instead.
    app.conf.broker_use_ssl = {"ssl_cert_reqs": ssl.CERT_REQUIRED}
app.conf.update(
    task_ignore_result=True,
    task_serializer="json",
    accept_content=["json"],
    worker_prefetch_multiplier=1,
    task_soft_time_limit=45,
    task_time_limit=60,
    broker_connection_retry_on_startup=True,
    broker_transport_options={"visibility_timeout": 120, "socket_timeout": 10, "socket_connect_timeout": 5},
    worker_hijack_root_logger=False,
    enable_utc=True,
    timezone="UTC",
    beat_schedule={
        "retention": {"task": "reminders.retention", "schedule": 3600.0, "options": {"expires": 1800}},
        "run-due": {"task": "reminders.run_due", "schedule": 1.0, "options": {"expires": 1}},
    },
)
app.autodiscover_tasks(["reminders"])


def _refuse(**kwargs: Any) -> None:
    from clinic.checks import refuse_unsafe
    from reminders.services.grown import refuse_small, tell_start

    refuse_unsafe()
    refuse_small()
    tell_start()


worker_init.connect(_refuse)
beat_init.connect(_refuse)
