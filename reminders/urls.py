"""The addresses of Today, the patient page, messages, the link page and health."""

from django.urls import path

from reminders.views import calls, handing_over, health, link, outbox, patient, stop, today

urlpatterns = [
    path("", today.today, name="today"),
    path("calls/<int:pk>/", calls.call_work, name="call_work"),
    path("reports/<int:pk>/", calls.report_page, name="report_page"),
    path("patients/<int:pk>/", patient.patient_page, name="patient_page"),
    path("applications/<int:pk>/", handing_over.application_page, name="application_page"),
    path("applications/<int:pk>/new-link/", handing_over.link_close, name="link_revoke"),
    path("applications/<int:pk>/still-on/", handing_over.application_still_on, name="application_still_on"),
    path("applications/<int:pk>/sign/", handing_over.application_sign, name="application_sign"),
    path("messages/", outbox.outbox_page, name="messages"),
    path("messages/<int:pk>/again/", outbox.message_again, name="message_again"),
    path("t/<str:token>/", link.link_page, name="link_page"),
    path("t/<str:token>/<str:what>/", link.link_answer, name="link_answer"),
    path("u/<str:token>/", stop.stop_page, name="stop_page"),
    path("health/", health.alive, name="health"),
    path("health/ready/", health.ready, name="health_ready"),
]
