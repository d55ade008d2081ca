"""Attacks on the sheet of an item: what was typed is kept as typed, or a sentence says why not; each once broke off."""

from collections.abc import Callable

import pytest
from django.test import Client

from parts.models import Item
from tests.parts.test_shelf_pages import item_data

Login = Callable[[str], Client]
SMALL, LARGE = "1 qt bottle", "1 gal jug"


@pytest.fixture
def client(login: Login, db: None) -> Client:
    """An owner at an item that is bought in two packs."""
    client = login("owner")
    client.post("/shelf/items/new/", sheet((SMALL, "1 qt", None), (LARGE, "1 gal", None)))
    return client


def sheet(*packs: tuple[str, str, int | None], version: str = "") -> dict[str, str]:
    rows = {"packs-TOTAL_FORMS": str(len(packs)), "version": version}
    for at, (label, size, pk) in enumerate(packs):
        fields = {"label": label, "size": size, "barcode": "", "pk": str(pk or "")}
        rows |= {f"packs-{at}-{name}": value for name, value in fields.items()}
    return item_data(**rows)


def save(client: Client, *packs: tuple[str, str, int | None]) -> tuple[int, str]:
    item = Item.objects.get()
    answer = client.post(f"/shelf/items/{item.pk}/edit/", sheet(*packs, version=str(item.version)))
    return answer.status_code, answer.content.decode()


def keys() -> tuple[int, int]:
    first, second = Item.objects.get().packs.filter(active=True)
    return first.pk, second.pk


def packs() -> list[tuple[int, str, str]]:
    return [(row.pk, row.label, row.typed) for row in Item.objects.get().packs.filter(active=True)]


def test_two_packs_exchange_their_names(client: Client) -> None:
    small, large = keys()
    assert save(client, (LARGE, "1 qt", small), (SMALL, "1 gal", large))[0] == 303
    assert packs() == [(small, LARGE, "1 qt"), (large, SMALL, "1 gal")]


def test_a_name_that_became_free_goes_to_a_new_pack(client: Client) -> None:
    """The new row took the renamed one for itself, and what it was renamed to was lost."""
    small, large = keys()
    assert save(client, (SMALL, "500 ml", None), ("1 qt can", "1 qt", small), (LARGE, "1 gal", large))[0] == 303
    assert {label: typed for _pk, label, typed in packs()} == {SMALL: "500 ml", "1 qt can": "1 qt", LARGE: "1 gal"}
    assert [label for pk, label, _typed in packs() if pk == small] == ["1 qt can"]


def test_a_pack_takes_the_name_of_one_that_is_taken_off(client: Client) -> None:
    small, _large = keys()
    assert save(client, (LARGE, "1 qt", small))[0] == 303
    assert packs() == [(small, LARGE, "1 qt")]


def test_the_name_of_a_pack_that_was_bought_once_is_not_given_to_another(client: Client) -> None:
    small, large = keys()
    opening = client.get(f"/shelf/items/{Item.objects.get().pk}/opening/").content.decode()
    key = opening.partition('name="key" value="')[2].partition('"')[0]
    sent = {"key": key, "pack": str(large), "packs": "1", "unit_cost": "20"}
    assert client.post(f"/shelf/items/{Item.objects.get().pk}/opening/", sent).status_code == 303
    assert save(client, (SMALL, "1 qt", small))[0] == 303
    status, page = save(client, (LARGE, "1 qt", small))
    assert status == 422 and f"“{LARGE}” was a pack of this item before, and is in its history" in page
    assert save(client, (SMALL, "1 qt", small), (LARGE, "1 gal", None))[0] == 303
    assert packs()[1][0] == large


@pytest.mark.parametrize("lie", ["-1", "9" * 12, "0"])
def test_a_row_that_is_no_pack_of_the_item_is_known_by_its_name(client: Client, lie: str) -> None:
    small, large = keys()
    assert save(client, (SMALL, "1 qt", int(lie)), (LARGE, "1 gal", large))[0] == 303
    assert packs() == [(small, SMALL, "1 qt"), (large, LARGE, "1 gal")]
