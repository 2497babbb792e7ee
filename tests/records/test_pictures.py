"""Photos are kept without what they tell besides the picture. The judge is Pillow: it writes the photos with all their
metadata and reads what is kept; the same pixels must be there, and nothing else."""

from __future__ import annotations

import io
import struct
import warnings
import zlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import ExifTags, Image, ImageCms, ImageOps, PngImagePlugin

from setwright.errors import FileFormatError
from setwright.records import pictures, supplies
from setwright.records.jobs import add_job
from setwright.records.pictures import without_metadata
from tests.records.photos import JPEG, PNG

SECRETS = ("Ada Lark", "51 deg 30", "CameraSerial99", "2026:11:25")
FORMATS = {"image/jpeg": "JPEG", "image/png": "PNG", "image/webp": "WEBP"}
XMP = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>Ada Lark 51 deg 30</x:xmpmeta>"


def pixels(size=(61, 43)):
    """A picture no two corners of which are alike."""
    image = Image.new("RGB", size)
    image.putdata([(x * 4 % 256, y * 5 % 256, x * y % 256) for y in range(size[1]) for x in range(size[0])])
    return image


def told(up):
    """Everything a telephone writes about a photo."""
    exif = Image.Exif()
    exif[ExifTags.Base.Artist] = "Ada Lark"
    exif[ExifTags.Base.Make] = "CameraSerial99"
    exif[ExifTags.Base.DateTime] = "2026:11:25 14:31:07"
    if up:
        exif[ExifTags.Base.Orientation] = up
    exif.get_ifd(ExifTags.IFD.GPSInfo).update({1: "N", 2: (51.0, 30.0, 7.0), 3: "W", 4: (0.0, 7.0, 39.0)})
    return exif


def photo(media, up=None, image=None, **more):
    """A photo with metadata of every kind its format has."""
    image = image or pixels()
    out = io.BytesIO()
    given = {
        "exif": told(up),
        "icc_profile": ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes(),
        **more,
    }
    if media == "image/png":
        info = PngImagePlugin.PngInfo()
        info.add_text("Author", "Ada Lark")
        info.add_text("Place", "51 deg 30", zip=True)
        info.add_itxt("XML:com.adobe.xmp", XMP.decode())
        info.add(b"tIME", struct.pack(">HBBBBB", 2026, 11, 25, 14, 31, 7))
        given["pnginfo"] = info
    else:
        given["xmp"] = XMP
    if media == "image/jpeg":
        given["comment"] = "Ada Lark"
    if media == "image/webp":
        given["lossless"] = given.get("lossless", True)
    image.save(out, FORMATS[media], **given)
    return out.getvalue()


def opened(raw):
    image = Image.open(io.BytesIO(raw))
    image.load()
    return image


def upright(raw):
    return ImageOps.exif_transpose(opened(raw)).tobytes()


def tags(raw):
    return dict(opened(raw).getexif())


@pytest.mark.parametrize("media", FORMATS)
@pytest.mark.parametrize("up", [None, 1, 2, 3, 6, 8])
def test_the_same_picture_stays_and_nothing_else(media, up):
    before = photo(media, up)
    assert all(word.encode() in before or media == "image/png" for word in SECRETS[:1])
    assert tags(before)[ExifTags.Base.Artist] == "Ada Lark"
    after = without_metadata(media, before, "a")
    assert opened(after).tobytes() == opened(before).tobytes()
    assert upright(after) == upright(before)
    assert tags(after) == ({ExifTags.Base.Orientation: up} if up and up > 1 else {})
    assert opened(after).getexif().get_ifd(ExifTags.IFD.GPSInfo) == {}
    info = opened(after).info
    assert info["icc_profile"] == opened(before).info["icc_profile"]
    assert not {"comment", "xmp", "Author", "Place", "XML:com.adobe.xmp"} & set(info)
    assert not [word for word in SECRETS if word.encode() in after]
    assert b"xmpmeta" not in after
    assert b"tIME" not in after
    assert without_metadata(media, after, "a") == after


@pytest.mark.parametrize(
    ("media", "more", "mode"),
    [
        ("image/jpeg", {"progressive": True}, "RGB"), ("image/jpeg", {"subsampling": 2, "quality": 30}, "RGB"),
        ("image/jpeg", {"restart_marker_blocks": 2}, "RGB"), ("image/jpeg", {}, "L"),
        ("image/jpeg", {"icc_profile": None}, "CMYK"),
        ("image/png", {}, "RGBA"), ("image/png", {"transparency": 3, "icc_profile": None}, "P"),
        ("image/png", {"icc_profile": None}, "L"),
        ("image/png", {"icc_profile": None}, "I;16"), ("image/webp", {"lossless": False}, "RGB"),
        ("image/webp", {}, "RGBA"),
    ],
)  # fmt: skip
def test_every_way_of_storing_pixels_is_kept(media, more, mode):
    image = pixels().convert("L").convert(mode) if mode == "I;16" else pixels().convert(mode)
    before = photo(media, 6, image, **more)
    after = without_metadata(media, before, "a")
    assert opened(after).mode == opened(before).mode
    assert opened(after).tobytes() == opened(before).tobytes()
    assert opened(after).info.get("transparency") == opened(before).info.get("transparency")
    assert tags(after) == {ExifTags.Base.Orientation: 6}


@pytest.mark.parametrize("media", ["image/png", "image/webp"])
def test_moving_pictures_keep_all_their_frames(media):
    frames = [pixels(), pixels().rotate(180), pixels().rotate(90)]
    before = photo(media, None, frames[0], save_all=True, append_images=frames[1:], duration=100)
    after = without_metadata(media, before, "a")
    assert b"Ada Lark" not in after
    first, second = opened(before), opened(after)
    assert second.n_frames == first.n_frames == 3
    for i in range(3):
        first.seek(i)
        second.seek(i)
        assert second.tobytes() == first.tobytes()


def test_what_follows_the_end_of_a_picture_goes():
    film = b"ftypmp42 51 deg 30 Ada Lark" * 50
    for media in FORMATS:
        before = photo(media)
        after = without_metadata(media, before + film, "a")
        assert after == without_metadata(media, before, "a")


def test_a_thumbnail_goes():
    thumb = bytes(range(12))
    head = b"JFIF\0\1\2\0\0\1\0\1" + b"\2\2" + thumb
    more = b"\xff\xe0" + struct.pack(">H", len(head) + 2) + head + b"\xff\xe0\0\x0aJFXX\0\x10ab" + JPEG[20:]
    assert without_metadata("image/jpeg", JPEG[:2] + more, "a") == JPEG


def test_photos_with_nothing_to_take_out_stay_as_they_are():
    assert without_metadata("image/jpeg", JPEG, "a") == JPEG
    assert without_metadata("image/png", PNG, "a") == PNG
    for lossless in (True, False):
        plain = io.BytesIO()
        pixels().save(plain, "WEBP", lossless=lossless)
        assert without_metadata("image/webp", plain.getvalue(), "a") == plain.getvalue()


@pytest.mark.parametrize("media", FORMATS)
def test_half_a_photo_is_refused_wherever_it_is_cut(media):
    whole = without_metadata(media, photo(media), "a")
    for end in [*range(2, len(whole) - 2, max(1, len(whole) // 80)), len(whole) - 2]:
        with pytest.raises(
            FileFormatError, match=r"^half is cut off or damaged, a part of the picture is missing; copy"
        ):
            without_metadata(media, whole[:end], "half")


def test_a_picture_of_too_many_pixels_is_refused(monkeypatch):
    monkeypatch.setattr(pictures, "MOST_PIXELS", 1000)
    for media in FORMATS:
        plain = {} if media != "image/webp" else {"exif": b"", "xmp": b"", "icc_profile": None}
        for more in ({}, {**plain, "lossless": False}, {**plain, "lossless": True}):
            with pytest.raises(
                FileFormatError, match=r"^big is 61 by 43 pixels; up to 1000 are kept, make the photo smaller"
            ):
                without_metadata(media, photo(media, **more), "big")
    monkeypatch.setattr(pictures, "MOST_BYTES", 100)
    with pytest.raises(FileFormatError, match="more than 100 bytes"):
        without_metadata("image/png", bytes(101), "big")


def test_a_bomb_is_refused_by_what_its_head_says():
    head = struct.pack(">IIBBBBB", 100_000, 100_000, 8, 2, 0, 0, 0)
    chunk = struct.pack(">I", 13) + b"IHDR" + head + struct.pack(">I", zlib.crc32(b"IHDR" + head))
    with pytest.raises(FileFormatError, match="100000 by 100000 pixels"):
        without_metadata("image/png", PNG[:8] + chunk + PNG[33:], "bomb")
    empty = head[:4] + bytes(4) + head[8:]
    chunk = struct.pack(">I", 13) + b"IHDR" + empty + struct.pack(">I", zlib.crc32(b"IHDR" + empty))
    with pytest.raises(FileFormatError, match="100000 by 0 pixels"):
        without_metadata("image/png", PNG[:8] + chunk + PNG[33:], "none")


@pytest.mark.parametrize(
    ("media", "raw"),
    [
        ("image/jpeg", JPEG[:2] + b"\xff\xd9"), ("image/jpeg", JPEG[:2] + b"\xff\xd0" + JPEG[2:]),
        ("image/jpeg", JPEG[:2] + b"\x00" + JPEG[2:]), ("image/jpeg", JPEG[:2] + b"\xff\xe1\x00\x01" + JPEG[2:]),
        ("image/jpeg", JPEG[:20] + JPEG[20 + 69 + 13 :]), ("image/png", PNG[:8] + PNG[33:]),
        ("image/png", PNG[:33] + PNG[-12:]),
        ("image/png", PNG[:33] + PNG[8:]), ("image/png", PNG[:20] + b"\1" + PNG[21:]),
        ("image/webp", b"RIFF\x04\0\0\0WEBP"), ("image/webp", b"RIFF\x10\0\0\0WEBPVP8 \xff\0\0\0abcd"),
        ("image/webp", b"RIFF\x18\0\0\0WEBPVP8X\x0a\0\0\0" + bytes(10)),
        ("image/webp", b"RIFF\x0e\0\0\0WEBPVP8 \2\0\0\0ab"),
        ("image/webp", b"RIFF\x1c\0\0\0WEBPALPH\2\0\0\0abVP8 \2\0\0\0ab"),
    ],
)  # fmt: skip
def test_parts_that_are_not_what_they_must_be_are_refused(media, raw):
    with pytest.raises(FileFormatError, match="cut off or damaged"):
        without_metadata(media, raw, "odd")


@pytest.mark.parametrize(
    "tiff",
    [
        b"", b"XX*\0", b"MM\0\x2b", b"II*\0\xff\xff\0\0", b"II*\0\x08\0\0\0\xff\xff",
        b"MM\0*\0\0\0\x08\0\1\1\x12\0\4\0\0\0\1\0\6\0\0", b"MM\0*\0\0\0\x08\0\1\1\x12\0\3\0\0\0\1\0\x09\0\0",
        b"MM\0*\0\0\0\x08\0\1\1\x0f\0\3\0\0\0\1\0\6\0\0",
    ],
)  # fmt: skip
def test_what_says_nothing_readable_about_up_is_dropped(tiff):
    body = b"Exif\0\0" + tiff
    raw = JPEG[:20] + b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body + JPEG[20:]
    assert without_metadata("image/jpeg", raw, "a") == JPEG


@pytest.mark.slow
@settings(max_examples=150, deadline=None)
@given(media=st.sampled_from(sorted(FORMATS)), at=st.floats(0.0, 1.0), sign=st.integers(0, 255))
def test_no_single_byte_makes_it_stumble(media, at, sign):
    raw = bytearray(photo(media, 6))
    raw[2 + int(at * (len(raw) - 3))] = sign
    try:
        after = without_metadata(media, bytes(raw), "odd")
    except FileFormatError:
        return
    assert len(after) <= len(raw)
    assert b"51 deg 30" not in after


def test_a_shop_keeps_photos_stripped(shop, files):
    before = photo("image/jpeg", 6)
    with shop.writing() as work:
        visit = add_job(work, files).visit.id
        kept = supplies.attach(work, "photo", "as found.jpg", io.BytesIO(before), visit=visit)
        other = supplies.attach(work, "other", "as found.jpg", io.BytesIO(before), visit=visit)
    assert other.sha256 == kept.sha256
    with shop.reading() as work:
        raw = b"".join(supplies.content(work, kept.sha256))
    assert raw == without_metadata("image/jpeg", before, "a")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert upright(raw) == upright(before)
    with pytest.raises(FileFormatError, match=r"^half\.jpg is cut off"), shop.writing() as work:
        supplies.attach(work, "photo", "half.jpg", io.BytesIO(before[:-40]), visit=visit)
