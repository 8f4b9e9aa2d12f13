"""Pictures as bytes: how large they are, and the same picture without the place where it was taken.

Nothing is decoded and nothing compressed again: parts that could tell the place are left out, so every pixel stays as
the camera wrote it. Layout of the parts: ITU-T T.81 annex B (JPEG), W3C PNG chapter 5, CIPA DC-008 (Exif).
"""

import re
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

from PIL import ExifTags, Image

_START, _END, _SCAN, _APP1, _COLOUR_PROFILE = 0xD8, 0xD9, 0xDA, 0xE1, 0xE2
# The headers that hold a frame's size; C4, C8 and CC among them mean something else.
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
# JFIF and the colour transform. The other application segments hold manufacturers' own data, captions, further
# pictures.
_PLAIN_APPLICATION = frozenset({0xE0, 0xEE})
_APPLICATION = range(0xE0, 0xF0)
# Within a scan FF is followed by 00 (a data byte) or a restart marker; by anything else only where the scan ends.
_AFTER_SCAN = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")
_EXIF = b"Exif\x00\x00"
_GPS_TAG = tuple(int(ExifTags.IFD.GPSInfo).to_bytes(2, order) for order in ("big", "little"))
_LONGEST_SEGMENT = 0xFFFF - 2

PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
# Text chunks under these keywords hold descriptions of the picture in formats that can tell the place.
_PLACE_TEXT = re.compile(rb"(XML:com\.adobe\.xmp|Raw profile type [^\x00]*)\x00", re.IGNORECASE)


@dataclass(frozen=True)
class Picture:
    """A picture's size and its bytes without the place."""

    width_px: int
    height_px: int
    data: bytes


def read_jpeg(data: bytes) -> Picture:
    """The picture up to its end marker: Exif without the GPS directory, no XMP, captions or manufacturers' own
    segments.

    Raises ValueError where the bytes aren't a whole JPEG.
    """
    size: tuple[int, int] | None = None
    kept = []
    for marker, segment in _segments(data):
        if marker in _FRAMES and size is None and len(segment) >= 9:
            size = int.from_bytes(segment[7:9], "big"), int.from_bytes(segment[5:7], "big")
        kept.append(_kept_segment(marker, segment))
    if size is None or 0 in size:
        raise ValueError("it says no size")
    return Picture(*size, b"".join(kept))


def _segments(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Each marker with all bytes of its segment, a scan's with the data that follows it, through the end marker."""
    if data[:2] != b"\xff\xd8":
        raise ValueError("it doesn't begin as a JPEG does")
    yield _START, data[:2]
    begin, marker = 2, _START
    while marker != _END:
        begin = _marker_begin(data, begin)
        marker = data[begin + 1]
        end = begin + 2 if marker == _END else _segment_end(data, begin)
        yield marker, data[begin:end]
        begin = end


def _marker_begin(data: bytes, at: int) -> int:
    """Where the marker begins that must stand at `at`, after any fill bytes."""
    while data[at : at + 2] == b"\xff\xff":
        at += 1
    if data[at : at + 1] != b"\xff" or at + 2 > len(data):
        raise ValueError(f"it is cut short or damaged at byte {at}")
    return at


def _segment_end(data: bytes, begin: int) -> int:
    length = int.from_bytes(data[begin + 2 : begin + 4], "big")
    end = begin + 2 + length
    if length < 2 or end >= len(data):
        raise ValueError(f"it is cut short or damaged at byte {begin}")
    if data[begin + 1] != _SCAN:
        return end
    after = _AFTER_SCAN.search(data, end)
    if after is None:
        raise ValueError("it is cut short within the picture")
    return after.start()


def _kept_segment(marker: int, segment: bytes) -> bytes:
    if marker == _APP1 and segment[4:].startswith(_EXIF):
        return _exif_segment(segment)
    if marker == _COLOUR_PROFILE and segment[4:].startswith(b"ICC_PROFILE\x00"):
        return segment
    return b"" if marker in _APPLICATION and marker not in _PLAIN_APPLICATION else segment


def _exif_segment(segment: bytes) -> bytes:
    exif = without_position(segment[4:])
    if not exif or len(exif) > _LONGEST_SEGMENT:
        return b""
    return b"\xff\xe1" + (len(exif) + 2).to_bytes(2, "big") + exif


def without_position(exif: bytes) -> bytes:
    """The Exif block without its GPS directory, untouched where nothing points to one, empty where it can't be read.

    Where something does, the block is written anew from what could be read of it, which leaves out its small preview.
    """
    if not any(tag in exif for tag in _GPS_TAG):
        return exif
    block = Image.Exif()
    try:
        block.load(exif)
        block.pop(ExifTags.IFD.GPSInfo, None)
        return block.tobytes()
    except Exception:
        # A damaged block makes the reader fail in many ways; what can't be read can't be trusted to hold no place.
        return b""


def read_png(data: bytes) -> Picture:
    """The picture up to its end chunk: Exif without the GPS directory, no XMP or raw profiles in text chunks.

    Raises ValueError where the bytes aren't a whole PNG.
    """
    chunks = list(_chunks(data))
    kind, header = chunks[0]
    if kind != b"IHDR" or len(header) != 13:
        raise ValueError("it doesn't begin with its header")
    size = int.from_bytes(header[:4], "big"), int.from_bytes(header[4:8], "big")
    if 0 in size:
        raise ValueError("it says no size")
    return Picture(*size, PNG_SIGNATURE + b"".join(_kept_chunk(*each) for each in chunks))


def _chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Kind and content of each chunk, through the end chunk."""
    if not data.startswith(PNG_SIGNATURE):
        raise ValueError("it doesn't begin as a PNG does")
    begin, kind = len(PNG_SIGNATURE), b""
    while kind != b"IEND":
        end = begin + 8 + int.from_bytes(data[begin : begin + 4], "big")
        kind, content = data[begin + 4 : begin + 8], data[begin + 8 : end]
        if data[end : end + 4] != _checksum(kind, content):
            raise ValueError(f"it is cut short or damaged at byte {begin}")
        yield kind, content
        begin = end + 4


def _kept_chunk(kind: bytes, content: bytes) -> bytes:
    if kind in (b"tEXt", b"zTXt", b"iTXt") and _PLACE_TEXT.match(content):
        return b""
    if kind == b"eXIf":
        content = without_position(_EXIF + content).removeprefix(_EXIF)
        if not content:
            return b""
    return len(content).to_bytes(4, "big") + kind + content + _checksum(kind, content)


def _checksum(kind: bytes, content: bytes) -> bytes:
    return zlib.crc32(kind + content).to_bytes(4, "big")
