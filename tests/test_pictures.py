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


def segment(marker: int, content: bytes) -> bytes:
    """Marker, length with its own two bytes, content (ITU-T T.81 B.1.1.4)."""
    return bytes([0xFF, marker]) + (len(content) + 2).to_bytes(2, "big") + content


APPLICATION = list(range(0xE0, 0xF0))


@pytest.mark.parametrize("marker", APPLICATION)
def test_of_the_application_segments_only_the_plain_ones_stay(marker: int) -> None:
    """JFIF (APP0) and Adobe's colour transform (APP14, without which a picture's colours are wrong)."""
    sent = pictures.jpeg(place=False)
    kept = read_jpeg(sent[:2] + segment(marker, b"whatever their maker wrote") + sent[2:]).data
    assert (b"their maker" in kept) == (marker in (0xE0, 0xEE))


def test_a_second_block_that_tells_the_place_loses_it_as_the_first_does() -> None:
    sent = pictures.jpeg(place=False)
    block = pictures.exif().tobytes()
    twice = sent[:2] + segment(0xE1, block) + segment(0xE1, block) + sent[2:]
    kept = read_jpeg(twice).data
    seconds = struct.pack(">II", 56789, 1000), struct.pack("<II", 56789, 1000)
    assert any(each in twice for each in seconds)
    assert not any(each in kept for each in seconds)
    assert pictures.place_in(kept) == {}


def test_what_follows_the_end_marker_and_a_picture_within_a_comment_change_nothing() -> None:
    """An FF D9 inside a segment is no end: its length says so."""
    sent = pictures.jpeg(place=False)
    commented = sent[:2] + segment(0xFE, b"\xff\xd9 and more \xff\xd8") + sent[2:]
    assert read_jpeg(commented + pictures.jpeg()).data == commented


def test_restart_markers_within_the_scan_are_data() -> None:
    """ITU-T T.81 B.2.1: RST0 to RST7 between the intervals of a scan. The header says every block is one."""
    sent = pictures.jpeg(place=False)
    at = sent.index(b"\xff\xda")
    scan_ends = len(sent) - 2
    begun = at + 2 + int.from_bytes(sent[at + 2 : at + 4], "big")
    middle = (begun + scan_ends) // 2
    # Not between FF and its 00, where a marker would tear a byte apart.
    while sent[middle - 1] == 0xFF:
        middle += 1
    marked = sent[:middle] + b"\xff\xd3" + sent[middle:]
    assert read_jpeg(marked).data == marked


@pytest.mark.parametrize("marker", [0xC4, 0xC8, 0xCC])
def test_tables_among_the_frame_headers_hold_no_size(marker: int) -> None:
    """Huffman tables, an extension, arithmetic conditioning (T.81 table B.1): their bytes are no height and width."""
    sent = pictures.jpeg(place=False)
    picture = read_jpeg(sent[:2] + segment(marker, bytes([8, 0x12, 0x34, 0x56, 0x78, 3, 0, 0])) + sent[2:])
    assert (picture.width_px, picture.height_px) == (40, 30)


def test_the_first_frame_says_the_size() -> None:
    sent = pictures.jpeg(place=False)
    frame = segment(0xC0, bytes([8, 0, 77, 0, 99, 1, 1, 17, 0]))
    picture = read_jpeg(sent[:2] + frame + sent[2:])
    assert (picture.width_px, picture.height_px) == (99, 77)


@pytest.mark.parametrize("length", [b"\x00\x00", b"\x00\x01"])
def test_a_length_shorter_than_itself_is_refused_and_never_read_for_ever(length: bytes) -> None:
    sent = pictures.jpeg(place=False)
    with pytest.raises(ValueError, match=r"damaged at byte 2$"):
        read_jpeg(sent[:2] + b"\xff\xfe" + length + sent[2:])


def test_bytes_between_two_segments_are_refused_with_their_place() -> None:
    sent = pictures.jpeg(place=False)
    with pytest.raises(ValueError, match=r"damaged at byte 2$"):
        read_jpeg(sent[:2] + b"lost" + sent[2:])


def test_a_colour_profile_of_several_segments_stays_whole() -> None:
    profile = bytes(range(256)) * 300
    sent = pictures.jpeg(place=False, icc_profile=profile)
    assert pictures.opened(read_jpeg(sent).data).info["icc_profile"] == profile
    other = sent[:2] + segment(0xE2, b"MPF\x00 further pictures") + sent[2:]
    assert read_jpeg(other).data == sent


def chunk(kind: bytes, content: bytes) -> bytes:
    """Length, kind, content, CRC-32 over kind and content (W3C PNG 5.3)."""
    return len(content).to_bytes(4, "big") + kind + content + zlib.crc32(kind + content).to_bytes(4, "big")


def with_chunk(added: bytes) -> bytes:
    """A PNG with a further chunk after its header, which is 25 bytes long."""
    sent = pictures.png()
    return sent[: 8 + 25] + added + sent[8 + 25 :]


@pytest.mark.parametrize("kind", [b"tEXt", b"zTXt", b"iTXt"])
@pytest.mark.parametrize(
    ("keyword", "stays"),
    [
        (b"Title", True),
        (b"XML:com.adobe.xmp", False),
        (b"xml:COM.adobe.xmp", False),
        (b"Raw profile type exif", False),
        (b"Raw profile type APP1", False),
        (b"A raw profile type exif", True),
    ],
)
def test_texts_that_can_tell_the_place_go_by_their_keyword(kind: bytes, keyword: bytes, stays: bool) -> None:
    sent = with_chunk(chunk(kind, keyword + b"\x00what it says"))
    kept = read_png(sent).data
    assert kept == (sent if stays else pictures.png())


def test_an_exif_chunk_that_cannot_be_read_goes_and_one_without_a_place_stays() -> None:
    assert read_png(with_chunk(chunk(b"eXIf", b"no \x88\x25!"))).data == pictures.png()
    plain = with_chunk(chunk(b"eXIf", pictures.exif(place=False).tobytes().removeprefix(b"Exif\x00\x00")))
    assert read_png(plain).data == plain


def test_an_exif_chunk_with_a_place_is_written_anew_with_its_checksum() -> None:
    sent = with_chunk(chunk(b"eXIf", pictures.exif().tobytes().removeprefix(b"Exif\x00\x00")))
    kept = read_png(sent).data
    assert pictures.place_in(sent) and pictures.place_in(kept) == {}
    assert read_png(kept).data == kept


@pytest.mark.parametrize(("width", "height"), [(0, 5), (5, 0)])
def test_a_png_without_width_or_height_is_refused(width: int, height: int) -> None:
    header = width.to_bytes(4, "big") + height.to_bytes(4, "big") + bytes(5)
    with pytest.raises(ValueError, match="no size"):
        read_png(PNG_SIGNATURE + chunk(b"IHDR", header) + chunk(b"IEND", b""))


def test_a_chunk_that_claims_more_than_there_is_is_refused() -> None:
    sent = bytearray(pictures.png())
    sent[8 + 25 : 8 + 29] = b"\x7f\xff\xff\xff"
    with pytest.raises(ValueError, match=r"damaged at byte 33$"):
        read_png(bytes(sent))


@settings(max_examples=60, derandomize=True)
@given(st.binary(max_size=60))
def test_no_bytes_break_a_reader(data: bytes) -> None:
    for begin, read in ((b"\xff\xd8", read_jpeg), (PNG_SIGNATURE, read_png), (b"", read_jpeg), (b"", read_png)):
        with pytest.raises(ValueError):
            read(begin + data)
