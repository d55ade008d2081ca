from django.urls import URLPattern

app_name = "invoicing"
urlpatterns: list[URLPattern] = []
