from django.apps import AppConfig


class InvoicingConfig(AppConfig):
    name = "invoicing"
    verbose_name = "Books"

    def ready(self) -> None:
        from garage import search  # noqa: PLC0415 (models are not ready when this module is read)
        from invoicing import consents, panels, papers, promises  # noqa: PLC0415 (as above)

        consents.register()
        papers.register()
        panels.register()
        promises.register()
        search.register("invoice", "invoice", "invoicing:invoice")
