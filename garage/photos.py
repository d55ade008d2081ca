"""Pictures from outside: checked before they are decoded, then written anew, so that only pixels come in.

Writing anew drops everything else a file may carry: the place where the photo was taken, scripts, other formats.
"""

import datetime as dt
import io
from dataclasses import dataclass
from typing import Final

from django.core.files.uploadedfile import UploadedFile
from PIL import Image, ImageOps

from garage import files
from garage.clock import fixed
from garage.errors import Refused
from garage.models import StoredFile, User

MOST_BYTES: Final = 10 * 1024 * 1024
MOST_PIXELS: Final = 50_000_000
LONGEST_SIDE: Final = 2048

# Format as Pillow names it, by the endings of names that go with it.
_ENDINGS: Final = {"jpg": "JPEG", "jpeg": "JPEG", "jpe": "JPEG", "jfif": "JPEG", "png": "PNG", "webp": "WEBP"}
#: For the `accept` attribute of file fields.
ACCEPT: Final = "image/jpeg,image/png,image/webp"


@dataclass(frozen=True)
class Picture:
    """A picture written anew."""

    data: bytes
    content_type: str
    width: int
    height: int


def store_photo(
    upload: UploadedFile, *, actor: User | None, now: dt.datetime, kind: str = StoredFile.Kind.PHOTO
) -> StoredFile:
    """Check an uploaded picture, write it anew (2048 pixels at most) and store it. Raises Refused."""
    if (upload.size or 0) > MOST_BYTES:
        raise Refused("The picture is larger than 10 MB. Take it at a lower resolution.")
    picture = read_picture(upload.read(MOST_BYTES + 1), upload.name or "")
    return files.store_bytes(
        kind, upload.name or "photo", picture.content_type, picture.data, actor=actor, clock=fixed(now)
    )


def read_picture(data: bytes, name: str) -> Picture:
    """Decode a JPEG, PNG or WebP picture and write it anew: upright, without its data about itself.

    Beginning, ending of the name and the decoded format must agree. Raises Refused for anything else, for more
    than 10 MB or 50 megapixels (before decoding), and for a damaged file.
    """
    if len(data) > MOST_BYTES:
        raise Refused("The picture is larger than 10 MB. Take it at a lower resolution.")
    image_format = _format_of(data, name)
    try:
        with Image.open(io.BytesIO(data), formats=[image_format]) as image:
            if image.width * image.height > MOST_PIXELS:
                raise Refused("The picture has more than 50 megapixels. Take it at a lower resolution.")
            return _written_anew(image)
    except Image.DecompressionBombError:
        raise Refused("The picture has more than 50 megapixels. Take it at a lower resolution.") from None
    except (OSError, ValueError, SyntaxError, EOFError) as error:
        if isinstance(error, Refused):
            raise
        raise Refused("The picture is damaged and cannot be read. Take it again.") from None


def _format_of(data: bytes, name: str) -> str:
    """The format that the file's beginning and the ending of its name agree on."""
    if data.startswith(b"\xff\xd8\xff"):
        begins = "JPEG"
    elif data.startswith(b"\x89PNG\r\n\x1a\n"):
        begins = "PNG"
    elif data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        begins = "WEBP"
    else:
        begins = ""
    if not begins or _ENDINGS.get(name.rpartition(".")[2].lower()) != begins:
        raise Refused("That is no picture this program takes. Choose a JPEG, PNG or WebP file.")
    return begins


def _written_anew(image: Image.Image) -> Picture:
    image.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))  # a large JPEG is decoded at a fraction of its size
    upright = ImageOps.exif_transpose(image)
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    see_through = upright.mode in ("RGBA", "LA", "PA") or "transparency" in upright.info
    pixels = Image.new("RGBA" if see_through else "RGB", upright.size)
    pixels.paste(upright.convert(pixels.mode))
    out = io.BytesIO()
    if see_through:
        pixels.save(out, "PNG", optimize=True)
    else:
        pixels.save(out, "JPEG", quality=85)
    return Picture(out.getvalue(), "image/png" if see_through else "image/jpeg", *pixels.size)
