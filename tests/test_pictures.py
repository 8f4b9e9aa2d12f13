"""A picture is kept pixel by pixel; the place where it was taken is not. Pillow reads what we wrote."""

import io
import struct
import zlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import ExifTags, Image

from fleet.pictures import PNG_SIGNATURE, read_jpeg, read_png, without_position
from tests import pictures


@pytest.mark.parametrize("how", [{}, {"progressive": True}, {"comment": b"seen from below"}, {"optimize": True}])
def test_a_photo_loses_its_place_and_keeps_every_pixel_and_the_rest(how: dict[str, object]) -> None:
    sent = pictures.jpeg(**how)
    kept = read_jpeg(sent).data
    assert pictures.place_in(sent)
    assert pictures.place_in(kept) == {}
    assert pictures.opened(kept).tobytes() == pictures.opened(sent).tobytes()
    block = pictures.opened(kept).getexif()
    assert (block[ExifTags.Base.Orientation], block[ExifTags.Base.Model]) == (6, "Camera 1")
    assert block.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] == "2026:03:02 10:05:00"


def test_the_figures_of_the_place_are_gone_from_the_bytes() -> None:
    """Seconds of latitude as a TIFF rational: 56789/1000, in either byte order."""
    figures = [struct.pack(order + "II", 56789, 1000) for order in "<>"]
    assert any(each in pictures.jpeg() for each in figures)
    assert not any(each in read_jpeg(pictures.jpeg()).data for each in figures)


def test_a_photo_without_a_place_comes_back_to_the_last_byte() -> None:
    sent = pictures.jpeg(place=False, icc_profile=b"a profile", comment=b"a comment")
    assert read_jpeg(sent).data == sent
    assert pictures.opened(sent).info["icc_profile"] == b"a profile"


def test_descriptions_and_further_pictures_of_a_photo_go_too() -> None:
    sent = pictures.jpeg(place=False, xmp=pictures.XMP)
    captions = b"\xff\xed\x00\x0fcaptions here"
    kept = read_jpeg(sent[:2] + captions + sent[2:] + b"a film with its place").data
    assert kept == pictures.jpeg(place=False)


def test_fill_bytes_between_the_parts_are_read_over() -> None:
    sent = pictures.jpeg(place=False)
    assert read_jpeg(sent[:2] + b"\xff\xff" + sent[2:]).data == sent


def test_a_block_that_cannot_be_read_is_left_out() -> None:
    sent = pictures.jpeg(place=False)
    damaged = sent[:2] + b"\xff\xe1\x00\x0eExif\x00\x00no \x88\x25!" + sent[2:]
    assert read_jpeg(damaged).data == sent


@pytest.mark.parametrize("order", ["<", ">"])
def test_a_place_that_the_reader_would_skip_goes_too(order: str) -> None:
    """An entry that claims far more data than there is; another reader might follow it."""
    head = struct.pack(order + "2sHLHHHLL", b"II" if order == "<" else b"MM", 42, 8, 1, 0x8825, 2, 60_000, 26)
    assert struct.pack(order + "H", 0x8825) not in without_position(b"Exif\x00\x00" + head + bytes(4))


@pytest.mark.parametrize("order", ["<", ">"])
def test_what_the_manufacturer_wrote_about_the_exposure_stays(order: str) -> None:
    block = pictures.exif()
    block.endian = order
    exposure = block.get_ifd(ExifTags.IFD.Exif)
    exposure[ExifTags.Base.MakerNote] = b"MANUFACTURER" + bytes(range(200))
    exposure[ExifTags.Base.ExposureTime] = 0.25
    kept = Image.Exif()
    kept.load(without_position(block.tobytes()))
    assert dict(kept.get_ifd(ExifTags.IFD.Exif)) == dict(exposure)
    assert dict(kept.get_ifd(ExifTags.IFD.GPSInfo)) == {}


def test_a_png_comes_back_to_the_last_byte() -> None:
    for sent in (pictures.png(), pictures.png(exif=pictures.exif(place=False)), pictures.png(icc_profile=b"a profile")):
        assert read_png(sent).data == sent


def test_a_png_loses_its_place_and_keeps_every_pixel_and_its_title() -> None:
    sent = pictures.png(exif=pictures.exif(), pnginfo=pictures.told_text())
    kept = read_png(sent + b"a film with its place").data
    assert pictures.place_in(sent)
    assert pictures.place_in(kept) == {}
    assert pictures.opened(kept).tobytes() == pictures.opened(sent).tobytes()
    assert pictures.opened(kept).info["Title"] == "data_plate"
    assert "xmp" in pictures.opened(sent).info
    assert "xmp" not in pictures.opened(kept).info
    assert pictures.opened(kept).getexif()[ExifTags.Base.Orientation] == 6


@pytest.mark.parametrize(("width_px", "height_px"), [(1, 1), (31, 17), (500, 3)])
def test_the_size_is_the_pictures(width_px: int, height_px: int) -> None:
    for form, read in (("JPEG", read_jpeg), ("PNG", read_png)):
        written = io.BytesIO()
        pictures.plain(width_px, height_px).save(written, form)
        picture = read(written.getvalue())
        assert (picture.width_px, picture.height_px) == (width_px, height_px)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.data())
def test_a_picture_cut_short_anywhere_is_refused(data: st.DataObject) -> None:
    for sent, read in ((pictures.jpeg(), read_jpeg), (pictures.png(), read_png)):
        length = data.draw(st.integers(0, len(sent) - 1))
        with pytest.raises(ValueError, match=r"cut short|begin"):
            read(sent[:length])


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.integers(2, len(pictures.jpeg()) - 1), st.integers(0, 255))
def test_a_damaged_photo_is_refused_or_read_and_never_breaks_the_reader(at: int, byte: int) -> None:
    sent = pictures.jpeg()
    try:
        kept = read_jpeg(sent[:at] + bytes([byte]) + sent[at + 1 :]).data
    except ValueError:
        return
    assert read_jpeg(kept).data == kept


def test_a_changed_byte_of_a_png_is_noticed() -> None:
    sent = pictures.png()
    for at in (20, 60, len(sent) - 6):
        with pytest.raises(ValueError, match="damaged"):
            read_png(sent[:at] + bytes([sent[at] ^ 1]) + sent[at + 1 :])


def test_a_png_that_says_no_size_is_refused() -> None:
    header = b"IHDR" + bytes(13)
    chunk = b"\x00\x00\x00\x0d" + header + zlib.crc32(header).to_bytes(4, "big")
    end = b"\x00\x00\x00\x00IEND" + zlib.crc32(b"IEND").to_bytes(4, "big")
    with pytest.raises(ValueError, match="no size"):
        read_png(PNG_SIGNATURE + chunk + end)
    with pytest.raises(ValueError, match="header"):
        read_png(PNG_SIGNATURE + end)
    with pytest.raises(ValueError, match="no size"):
        read_jpeg(b"\xff\xd8\xff\xd9")


def test_the_orientation_of_a_photo_still_turns_it() -> None:
    kept = pictures.opened(read_jpeg(pictures.jpeg()).data)
    assert kept.size == (40, 30)
    assert Image.Image.getexif(kept)[ExifTags.Base.Orientation] == 6
