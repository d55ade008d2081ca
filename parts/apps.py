from django.apps import AppConfig


class PartsConfig(AppConfig):
    name = "parts"
    verbose_name = "Shelf"
