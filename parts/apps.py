from django.apps import AppConfig


class PartsConfig(AppConfig):
    name = "parts"
    verbose_name = "Shelf"

    def ready(self) -> None:
        from garage import search  # noqa: PLC0415 (models are not ready when this module is read)
        from parts import promises  # noqa: PLC0415 (as above)

        promises.register()
        search.register("item", "item", "parts:item")
