"""The addresses of the taping pages."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
