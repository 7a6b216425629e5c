"""The addresses of Today, the patient page, messages, the link page and health."""

from django.urls import path

from reminders.views import health

urlpatterns = [
    path("health/", health.alive, name="health"),
    path("health/ready/", health.ready, name="health_ready"),
]
