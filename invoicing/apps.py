from django.apps import AppConfig


class InvoicingConfig(AppConfig):
    name = "invoicing"
    verbose_name = "Books"

    def ready(self) -> None:
        from garage import search, shop  # noqa: PLC0415 (models are not ready when this module is read)
        from invoicing import (  # noqa: PLC0415 (as above)
            accounts,
            consents,
            forgetting,
            leaving,
            panels,
            papers,
            promises,
            promises_money,
            queries,
        )
        from jobs import objections  # noqa: PLC0415 (as above)

        consents.register()
        papers.register()
        panels.register()
        promises.register()
        shop.fix("currency", queries.why_currency_is_fixed)
        promises_money.register()
        objections.register(canceling=accounts.against_ending)
        objections.register(canceling=leaving.against_canceling, changing=leaving.against_changing)
        objections.register(moving=leaving.against_moving)
        forgetting.register_all()
        search.register("invoice", "invoice", "invoicing:invoice")
