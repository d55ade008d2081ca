"""The addresses of the shelf; its front page, `shelf`, stands in `places.py`."""

from django.urls import path

from parts.views import containers, items, movements, receiving, shelf, suppliers

app_name = "parts"
urlpatterns = [
    path("low/", shelf.low, name="low"),
    path("both/", shelf.both, name="both"),
    path("items/new/", items.item_new, name="item-new"),
    path("items/<int:pk>/", items.item, name="item"),
    path("items/<int:pk>/edit/", items.item_edit, name="item-edit"),
    path("items/<int:pk>/replaced/", items.replace, name="replace"),
    path("items/<int:pk>/replaced/undo/", items.replace_undo, name="replace-undo"),
    path("items/<int:pk>/containers/", containers.containers, name="containers"),
    path("items/<int:pk>/count/", containers.count, name="count"),
    path("items/<int:pk>/opening/", containers.opening, name="opening"),
    path("items/<int:pk>/prices/new/", suppliers.price_new, name="price-new"),
    path("containers/<int:pk>/", containers.container, name="container"),
    path("containers/<int:pk>/adjust/", containers.adjust, name="adjust"),
    path("movements/", movements.movements, name="movements"),
    path("movements/<int:pk>/undo/", movements.undo, name="reverse"),
    path("receive/", receiving.receive, name="receive"),
    path("deliveries/", receiving.receipts, name="receipts"),
    path("deliveries/<int:pk>/", receiving.receipt, name="receipt"),
    path("deliveries/<int:pk>/undo/", receiving.receipt_undo, name="receipt-undo"),
    path("suppliers/", suppliers.suppliers, name="suppliers"),
    path("suppliers/new/", suppliers.supplier_new, name="supplier-new"),
    path("suppliers/<int:pk>/", suppliers.supplier_edit, name="supplier-edit"),
    path("markup/", suppliers.markup, name="markup"),
]
