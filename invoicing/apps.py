from django.apps import AppConfig


class InvoicingConfig(AppConfig):
    name = "invoicing"
    verbose_name = "Books"

    def ready(self) -> None:
        from garage import search, shop  # noqa: PLC0415 (models are not ready when this module is read)
        from invoicing import consents, panels, papers, promises, queries  # noqa: PLC0415 (as above)

        consents.register()
        papers.register()
        panels.register()
        promises.register()
        shop.fix("currency", queries.why_currency_is_fixed)
        search.register("invoice", "invoice", "invoicing:invoice")
