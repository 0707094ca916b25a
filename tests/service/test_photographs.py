"""Photographs: what is taken, what is refused and why, and that nothing hidden is kept.

Formats by their own specifications as Pillow writes them; the tags of position by Exif 2.32 (from memory).
"""

import io
import struct
import zlib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from server import photographs
from server.photographs import LARGEST_UPLOAD, LONGEST_PX, MOST_PIXELS, SMALL_PX, PhotographError, prepare

ORIENTATION, GPS, MAKE = 0x0112, 0x8825, 0x010F


def written(picture: Image.Image, kind: str = "JPEG", **more: object) -> bytes:
    out = io.BytesIO()
    picture.save(out, kind, **more)
    return out.getvalue()


def halves(size: tuple[int, int] = (400, 300)) -> Image.Image:
    """Red on the left, blue on the right."""
    picture = Image.new("RGB", size, (200, 20, 20))
    picture.paste((20, 20, 200), (size[0] // 2, 0, *size))
    return picture


def read(jpeg: bytes) -> Image.Image:
    picture = Image.open(io.BytesIO(jpeg))
    assert picture.format == "JPEG"
    picture.load()
    return picture


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_what_phones_send_is_taken(kind: str) -> None:
    kept = prepare(written(halves(), kind))
    assert (kept.width_px, kept.height_px) == (400, 300)
    red, blue = read(kept.jpeg).getpixel((50, 150)), read(kept.jpeg).getpixel((350, 150))
    assert isinstance(red, tuple)
    assert isinstance(blue, tuple)
    assert red[0] > 150 > red[2]
    assert blue[2] > 150 > blue[0]


def test_place_camera_comment_and_profile_stay_behind() -> None:
    exif = Image.Exif()
    exif[MAKE] = "Heronflex"
    exif.get_ifd(GPS).update({1: "N", 2: (60.0, 10.0, 0.0), 3: "E", 4: (24.0, 56.0, 0.0)})
    sent = written(halves(), exif=exif, comment=b"behind the mill", icc_profile=b"profile of mine")
    assert b"Heronflex" in sent
    assert b"behind the mill" in sent
    kept = prepare(sent)
    for jpeg in (kept.jpeg, kept.small):
        picture = read(jpeg)
        assert not picture.getexif()
        assert {"comment", "icc_profile", "xmp", "exif"}.isdisjoint(picture.info)
        assert not any(
            mark in jpeg for mark in (b"Heronflex", b"behind the mill", b"profile of mine", b"Exif")
        )


@pytest.mark.parametrize(
    ("turn", "size"), [(1, (400, 300)), (3, (400, 300)), (6, (300, 400)), (8, (300, 400))]
)
def test_a_picture_is_turned_as_the_camera_was_held(turn: int, size: tuple[int, int]) -> None:
    """Exif: 1 as it is, 3 upside down, 6 turned right, 8 turned left: where the red half is then."""
    exif = Image.Exif()
    exif[ORIENTATION] = turn
    kept = prepare(written(halves(), exif=exif))
    assert (kept.width_px, kept.height_px) == size
    picture = read(kept.jpeg)
    red_at = {1: (50, 150), 3: (350, 150), 6: (150, 50), 8: (150, 350)}[turn]
    pixel = picture.getpixel(red_at)
    assert isinstance(pixel, tuple)
    assert pixel[0] > 150 > pixel[2]


def test_large_ones_are_made_small_in_their_proportion() -> None:
    kept = prepare(written(halves((4000, 3000))))
    assert (kept.width_px, kept.height_px) == (LONGEST_PX, LONGEST_PX * 3 // 4)
    assert read(kept.small).size == (SMALL_PX, SMALL_PX * 3 // 4)


def test_glass_is_laid_on_white() -> None:
    clear = Image.new("RGBA", (40, 40), (0, 0, 0, 0))
    pixel = read(prepare(written(clear, "PNG")).jpeg).getpixel((20, 20))
    assert isinstance(pixel, tuple)
    assert min(pixel) > 245


def bomb(width: int, height: int) -> bytes:
    """A PNG of a few bytes that says it is huge."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(b"\0"))
        + chunk(b"IEND", b"")
    )


def film(kind: str) -> bytes:
    return written(halves(), kind, save_all=True, append_images=[Image.new("RGB", (400, 300))])


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        (b"", ["empty"]),
        (b"x" * (LARGEST_UPLOAD + 1), ["12.6 MB", "limit"]),
        (b"just words", ["no picture that is known", "JPEG"]),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>", ["SVG", "JPEG"]),
        (b"\0\0\0\x18ftypheic\0\0\0\0mif1heic", ["HEIC", "JPEG"]),
        (b"%PDF-1.7 ...", ["PDF"]),
        (written(halves((8, 8)), "GIF"), ["GIF"]),
        (written(halves((8, 8)), "TIFF"), ["JPEG"]),
        (written(halves())[:2000], ["cannot be read to its end"]),
        (written(halves(), "PNG")[:150], ["cannot be read to its end"]),
        (film("PNG"), ["moves"]),
        (film("WEBP"), ["moves"]),
        (bomb(9000, 9000), ["9000 x 9000", f"{MOST_PIXELS // 1_000_000} million"]),
        (bomb(60_000, 60_000), ["million"]),
    ],
    ids=lambda value: None if isinstance(value, list) else repr(value[:12]),
)
def test_what_is_no_photograph_is_refused_by_name(sent: bytes, words: list[str]) -> None:
    with pytest.raises(PhotographError) as refused:
        prepare(sent)
    for word in words:
        assert word in str(refused.value)


def test_the_first_picture_of_several_in_one_jpeg_is_taken() -> None:
    """MPO, as phones with two lenses write it (CIPA DC-007)."""
    sent = written(halves(), "MPO", save_all=True, append_images=[Image.new("RGB", (400, 300), "green")])
    pixel = read(prepare(sent).jpeg).getpixel((50, 150))
    assert isinstance(pixel, tuple)
    assert pixel[0] > 150 > pixel[1]


JPEG = written(halves((64, 48)), exif=b"")


@settings(max_examples=80, deadline=None)
@given(cut=st.integers(1, len(JPEG)), at=st.integers(0, len(JPEG) - 1), other=st.integers(0, 255))
def test_a_damaged_file_is_a_photograph_or_a_plain_refusal(cut: int, at: int, other: int) -> None:
    damaged = bytearray(JPEG[:cut])
    if at < cut:
        damaged[at] = other
    try:
        kept = prepare(bytes(damaged))
    except PhotographError:
        return  # any other error fails the test
    assert read(kept.jpeg).size == (kept.width_px, kept.height_px)


def test_files_are_there_for_their_owner_alone_and_can_be_deleted(tmp_path: Path) -> None:
    kept = prepare(written(halves()))
    one, other = photographs.keep(tmp_path, kept), photographs.keep(tmp_path, kept)
    assert one.name != other.name
    files = sorted((tmp_path / photographs.FOLDER).iterdir())
    assert len(files) == 4
    assert {path.stat().st_mode & 0o777 for path in files} == {0o600}
    assert photographs.file_of(tmp_path, one.name).read_bytes() == kept.jpeg
    photographs.delete(tmp_path, one.name)
    photographs.delete(tmp_path, one.name)
    assert len(list((tmp_path / photographs.FOLDER).iterdir())) == 2
