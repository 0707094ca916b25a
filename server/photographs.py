"""Photographs, from whatever a phone sends to plain small JPEGs in the data folder.

Nothing of what came is kept but the picture itself: it is decoded, turned upright, made smaller and written
anew, so that no place, time, device or hidden file goes along. What is no photograph is refused by name.
"""

import io
import secrets
from dataclasses import dataclass
from pathlib import Path
from threading import Lock

from PIL import Image, ImageOps, UnidentifiedImageError

from server.data_folder import keep_secret
from server.store.engine import FullDisk
from server.store.notes import Picture

FOLDER = "photographs"
"""Where they are in the data folder."""

LARGEST_UPLOAD = 12 * 1024 * 1024
"""The largest photograph that is taken [bytes]: a phone's full picture is 2 to 8 MB (common practice)."""

MOST_PIXELS = 50_000_000
"""The most pixels that are decoded: a phone’s full picture. At worst 190 MB for a second (measured)."""

LONGEST_PX, SMALL_PX = 2048, 480
"""The longer side of what is kept, and of its small copy for lists [px]."""

QUALITY = 85
"""Of the JPEG: common practice for photographs."""

FORMATS = ("JPEG", "PNG", "WEBP")
"""What is read. A JPEG may have more pictures behind it (MPO), as phones write; its first is taken."""

_ONE_AT_A_TIME = Lock()
"""Two large pictures decoded at once would be too much for a small machine."""


class PhotographError(ValueError):
    """What came is no photograph that can be kept: the message names the thing, the value and the limit."""


@dataclass(frozen=True)
class Prepared:
    """A photograph ready to be kept: two JPEGs, and the size of the larger one [px]."""

    jpeg: bytes
    small: bytes
    width_px: int
    height_px: int


def prepare(sent: bytes) -> Prepared:
    """Read what was sent and write it anew, small, upright, and bare. Raises PhotographError."""
    if not sent:
        raise PhotographError("the photograph is empty: 0 bytes came")
    if len(sent) > LARGEST_UPLOAD:
        raise PhotographError(
            f"the photograph has {len(sent) / 1e6:.1f} MB; the limit is {LARGEST_UPLOAD / 1e6:.1f} MB"
        )
    with _ONE_AT_A_TIME:
        try:
            return _written_anew(sent)
        except PhotographError:
            raise
        except UnidentifiedImageError:
            raise PhotographError(
                f"what came is {_guess(sent)}; a JPEG, PNG or WebP picture is taken"
            ) from None
        except (Image.DecompressionBombError, Image.DecompressionBombWarning):
            raise PhotographError(_too_many("hundreds of millions of")) from None
        except Exception as error:  # Pillow's decoders raise OSError, SyntaxError, ValueError, struct.error …
            raise PhotographError(f"the photograph cannot be read to its end: {error}") from error


def keep(folder: Path, prepared: Prepared) -> Picture:
    """Write it under the data folder `folder`, whole or not at all, under a name of its own.

    Raises FullDisk.
    """
    name = secrets.token_hex(16)
    try:
        keep_secret(file_of(folder, name, small=True), prepared.small)
        keep_secret(file_of(folder, name), prepared.jpeg)
    except OSError as error:
        reason = error.strerror or str(error)
        raise FullDisk(f"the photograph could not be written ({reason}); nothing of it was kept") from error
    return Picture(name, prepared.width_px, prepared.height_px)


def delete(folder: Path, name: str) -> None:
    """Delete a photograph's files; none there is as well."""
    for small in (True, False):
        file_of(folder, name, small).unlink(missing_ok=True)


def file_of(folder: Path, name: str, small: bool = False) -> Path:
    """The file of a photograph, or of its small copy.

    >>> file_of(Path("data"), "ab12", small=True).as_posix()
    'data/photographs/ab12-small.jpg'
    """
    return folder / FOLDER / f"{name}{'-small' if small else ''}.jpg"


def _written_anew(sent: bytes) -> Prepared:
    with Image.open(io.BytesIO(sent), formats=FORMATS) as came:
        width, height = came.size  # from its head: nothing is decoded yet
        if width * height > MOST_PIXELS:
            raise PhotographError(_too_many(f"{width} x {height}"))
        if came.format != "MPO" and getattr(came, "is_animated", False):
            raise PhotographError("the picture moves; a still photograph is taken")
        came.draft("RGB", (LONGEST_PX, LONGEST_PX))  # a JPEG is decoded no larger than is needed
        came.thumbnail((LONGEST_PX, LONGEST_PX), Image.Resampling.LANCZOS)
        upright = ImageOps.exif_transpose(came)  # once it is small: it makes a copy
        seen = upright.convert("RGBA") if upright.has_transparency_data else upright.convert("RGB")
    # Pasted on an empty picture: only pixels go over, no comment, profile or position.
    bare = Image.new("RGB", seen.size, "white")
    bare.paste(seen, mask=seen if seen.mode == "RGBA" else None)
    small = bare.copy()
    small.thumbnail((SMALL_PX, SMALL_PX), Image.Resampling.LANCZOS)
    return Prepared(_jpeg(bare), _jpeg(small), bare.width, bare.height)


def _jpeg(picture: Image.Image) -> bytes:
    written = io.BytesIO()
    picture.save(written, "JPEG", quality=QUALITY, optimize=True)
    return written.getvalue()


def _too_many(said: str) -> str:
    return f"the picture has {said} pixels; the limit is {MOST_PIXELS / 1e6:.0f} million"


def _guess(sent: bytes) -> str:
    """What it looks like from its first bytes, to tell a person."""
    if sent[4:8] == b"ftyp":
        return "HEIC or another film-like format (set the phone’s camera to JPEG)"
    if sent[:4] == b"GIF8":
        return "a GIF"
    if b"<svg" in sent[:1000].lower():
        return "a drawing (SVG)"
    if sent[:4] == b"%PDF":
        return "a PDF"
    return "no picture that is known here"
