"""The addresses of the clinic's own pages: log-in, patients' contact details, the diary."""

from django.urls import path

from clinic.views import log_in

urlpatterns = [
    path("log-in/", log_in.LogIn.as_view(), name="log_in"),
    path("log-out/", log_in.LogOut.as_view(), name="log_out"),
]
