"""The addresses of the clinic's own pages: log-in, patients' contact details, the diary."""

from django.urls import path

from clinic.views import booking, diary, helpers, log_in, moving, patients, settings, visits

urlpatterns = [
    path("log-in/", log_in.LogIn.as_view(), name="log_in"),
    path("log-out/", log_in.LogOut.as_view(), name="log_out"),
    path("patients/", patients.patients, name="patients"),
    path("patients/add/", patients.add, name="patient_add"),
    path("patients/<int:pk>/change/", patients.change, name="patient_change"),
    path("patients/<int:pk>/consent/", patients.consent, name="patient_consent"),
    path("patients/<int:pk>/helpers/add/", helpers.add, name="helper_add"),
    path("helpers/<int:pk>/", helpers.change, name="helper_change"),
    path("helpers/<int:pk>/remove/", helpers.remove, name="helper_remove"),
    path("settings/", settings.settings, name="settings"),
    path("settings/hours/", settings.hours, name="settings_hours"),
    path("settings/closures/", settings.closures, name="settings_closures"),
    path("settings/closures/<int:pk>/open/", settings.closure_open, name="settings_closure_open"),
    path("diary/", diary.diary, name="diary"),
    path("visits/book/", booking.book, name="visit_book"),
    path("visits/<int:pk>/", visits.visit, name="visit_page"),
    path("visits/<int:pk>/move/", moving.move, name="visit_move"),
    path("visits/<int:pk>/state/", visits.visit_state, name="visit_state"),
    path("visits/<int:pk>/calendar.ics", visits.calendar_file, name="visit_calendar"),
]
