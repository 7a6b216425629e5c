"""Every address of the program."""

from django.urls import include, path

urlpatterns = [
    path("", include("reminders.urls")),
    path("", include("taping.urls")),
    path("", include("clinic.views.urls")),
]

handler400 = "clinic.views.errors.not_read"
handler403 = "clinic.views.errors.not_allowed"
handler404 = "reminders.views.link.not_found_for"
