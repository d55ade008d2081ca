"""Photos from outside: only pixels come in, and they go out through a gate.

The numbers in brackets are requirements of OWASP ASVS 5.0; the attack files are written here, byte by byte.
"""

import datetime as dt
import hashlib
import io
import struct
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from PIL import Image, ImageFile

from garage import photos
from garage.clock import fixed
from garage.errors import Refused
from garage.files import shown_name, store_bytes
from garage.models import StoredFile, User

Login = Callable[[str], Client]
GPS = 0x8825  # EXIF 2.3, 4.6.3: pointer to the GPS data


@pytest.fixture(autouse=True)
def _as_in_the_web_process(monkeypatch: pytest.MonkeyPatch) -> None:
    """WeasyPrint tells Pillow to accept half a picture, for the whole process; a test that prints imports it here."""
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", False)


def picture(image_format: str = "JPEG", size: tuple[int, int] = (40, 30), **save: object) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, (200, 40, 20)).save(out, image_format, **save)
    return out.getvalue()


def with_position() -> bytes:
    """A photo, turned by a quarter (orientation 6), that tells where and by which device it was taken."""
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = 6, "Secret device"
    exif.get_ifd(GPS)[2] = (52.0, 31.0, 12.0)
    return picture(exif=exif.tobytes())


def png_of(width: int, height: int) -> bytes:
    """A PNG that says how large it is and holds almost nothing."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"\0" * 99)) + chunk(b"IEND", b"")
    )


def upload(data: bytes, name: str = "drained.jpg") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data)


@pytest.mark.parametrize(
    ("image_format", "ending"), [("JPEG", "jpg"), ("JPEG", "JPEG"), ("PNG", "png"), ("WEBP", "webp")]
)
def test_a_photo_is_taken_and_written_anew(image_format: str, ending: str) -> None:
    read = photos.read_picture(picture(image_format), f"fluid.{ending}")
    assert (read.width, read.height, read.content_type) == (40, 30, "image/jpeg")
    assert Image.open(io.BytesIO(read.data)).format == "JPEG"


def test_where_it_was_taken_stays_outside_and_it_stands_upright() -> None:  # [14.2.8]
    sent = with_position()
    assert b"Secret device" in sent
    read = photos.read_picture(sent, "a.jpg")
    assert (read.width, read.height) == (30, 40)
    assert b"Secret device" not in read.data and b"Exif" not in read.data
    assert not Image.open(io.BytesIO(read.data)).getexif()


def test_a_large_photo_is_made_smaller_in_its_shape() -> None:
    read = photos.read_picture(picture(size=(4000, 3000)), "a.jpg")
    assert (read.width, read.height) == (2048, 1536)


def test_a_logo_keeps_its_transparent_ground() -> None:
    out = io.BytesIO()
    Image.new("RGBA", (20, 10), (0, 90, 90, 0)).save(out, "PNG")
    read = photos.read_picture(out.getvalue(), "logo.png")
    assert read.content_type == "image/png" and Image.open(io.BytesIO(read.data)).mode == "RGBA"


@pytest.mark.parametrize(
    ("data", "name", "sentence"),
    [
        (b"", "a.jpg", "no picture"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script>1</script></svg>", "a.svg", "no picture"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "a.png", "no picture"),
        (b"<!doctype html><script>1</script>", "a.jpg", "no picture"),
        (b"%PDF-1.7", "a.pdf", "no picture"),
        (b"GIF89a<script>1</script>", "a.gif", "no picture"),
        (picture(), "a.html", "no picture"),
        (picture(), "a.jpg.php", "no picture"),
        (picture(), "photo", "no picture"),
        (picture("PNG"), "a.jpg", "no picture"),
        (picture("BMP"), "a.bmp", "no picture"),
        (picture("GIF"), "a.gif", "no picture"),
        (picture("TIFF"), "a.jpg", "no picture"),
        (picture()[:300], "a.jpg", "damaged"),
        (b"\xff\xd8\xff" + b"\0" * 400, "a.jpg", "damaged"),
        (b"\x89PNG\r\n\x1a\n<script>1</script>", "a.png", "damaged"),
        (b"RIFF\x10\0\0\0WEBPVP8 ", "a.webp", "damaged"),
        (png_of(100, 100), "a.png", "damaged"),
        (png_of(8000, 7000), "a.png", "50 megapixels"),
        (png_of(60_000, 60_000), "a.png", "50 megapixels"),
        (picture() + b"\0" * photos.MOST_BYTES, "a.jpg", "10 MB"),
    ],
)
def test_anything_else_is_refused_with_a_sentence(
    data: bytes, name: str, sentence: str
) -> None:  # [5.2.1, 5.2.2, 5.2.6]
    with pytest.raises(Refused, match=sentence):
        photos.read_picture(data, name)


def test_too_many_pixels_are_refused_before_they_are_decoded(monkeypatch) -> None:  # [5.2.6]
    def decoded(*args: object) -> None:
        raise AssertionError("decoded")

    monkeypatch.setattr(photos, "_written_anew", decoded)
    with pytest.raises(Refused, match="50 megapixels"):
        photos.read_picture(png_of(10_000, 5_001), "a.png")


def test_a_script_behind_the_pixels_does_not_come_in() -> None:
    read = photos.read_picture(picture() + b"<script>alert(1)</script>", "a.jpg")
    assert b"<script>" not in read.data


def test_too_large_an_upload_is_not_even_read(db: None, now: dt.datetime) -> None:
    file = upload(b"x")
    file.size = photos.MOST_BYTES + 1
    file.file = None  # reading it would fail
    with pytest.raises(Refused, match="10 MB"):
        photos.store_photo(file, actor=None, now=now)


# Kept beside the database


def test_a_stored_file_has_its_hash_and_a_random_name(people: dict[str, User], now: dt.datetime) -> None:  # [5.3.2]
    row = photos.store_photo(upload(picture(), "../../etc/passwd.jpg"), actor=people["technician"], now=now)
    stored = Path(row.file.path)
    assert stored.is_relative_to(Path(settings.MEDIA_ROOT) / "photo") and "passwd" not in str(stored)
    assert hashlib.sha256(stored.read_bytes()).hexdigest() == row.sha256
    assert (row.name, row.size, row.by) == ("passwd.jpg", stored.stat().st_size, people["technician"])
    assert stored.stat().st_mode & 0o077 == 0, "readable by the program alone"


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("..\\..\\boot.ini", "boot.ini"),
        ("/", "file"),
        ("a\0b\r\nc.jpg", "abc.jpg"),
        ("x" * 300 + ".jpg", "x" * 196 + ".jpg"),
        ("", "file"),
    ],
)
def test_a_hostile_name_is_harmless(name: str, shown: str) -> None:
    assert shown_name(name) == shown


def test_an_empty_file_is_not_stored(db: None, now: dt.datetime) -> None:
    with pytest.raises(ValueError, match="empty"):
        store_bytes("photo", "a.jpg", "image/jpeg", b"", actor=None, clock=fixed(now))


# Shown again


@pytest.fixture
def photo(people: dict[str, User], now: dt.datetime) -> StoredFile:
    return photos.store_photo(upload(picture()), actor=people["technician"], now=now)


def test_a_photo_is_shown_in_a_sandbox(shop: object, login: Login, photo: StoredFile) -> None:  # [3.2.1, 5.4.1]
    response = login("technician").get(reverse("photo", args=[photo.pk]))
    assert response.status_code == 200 and response["Content-Type"] == "image/jpeg"
    assert response["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert response["X-Content-Type-Options"] == "nosniff"
    assert response["Content-Disposition"] == 'inline; filename="drained.jpg"'
    assert hashlib.sha256(b"".join(response)).hexdigest() == photo.sha256


def test_what_is_no_picture_would_be_offered_for_saving(shop: object, login: Login, now: dt.datetime) -> None:
    row = store_bytes("photo", "a.html", "text/html", b"<script>1</script>", actor=None, clock=fixed(now))
    response = login("owner").get(reverse("photo", args=[row.pk]))
    assert response["Content-Disposition"].startswith("attachment") and "sandbox" in response["Content-Security-Policy"]


@pytest.mark.parametrize(
    ("kind", "role", "status"),
    [
        ("photo", "reader", 403),
        ("logo", "technician", 404),
        ("logo", "owner", 200),
        ("document", "owner", 404),
        ("message", "owner", 404),
    ],
)
def test_other_files_are_not_handed_out_here(
    shop: object, login: Login, now: dt.datetime, kind: str, role: str, status: int
) -> None:
    row = store_bytes(kind, "a.jpg", "image/jpeg", picture(), actor=None, clock=fixed(now))
    assert login(role).get(reverse("photo", args=[row.pk])).status_code == status


def test_without_a_login_there_is_no_photo(shop: object, photo: StoredFile) -> None:
    assert Client().get(reverse("photo", args=[photo.pk])).status_code == 302
    assert Client().get(f"/media/{photo.file.name}").status_code in (302, 404)


def test_a_photo_is_only_read(shop: object, login: Login, photo: StoredFile) -> None:
    assert login("owner").post(reverse("photo", args=[photo.pk])).status_code == 405
