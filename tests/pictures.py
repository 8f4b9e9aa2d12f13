"""Small pictures and a document, made for tests; a photo as a camera writes it, with the place where it was taken."""

import io
from typing import Any

from PIL import ExifTags, Image
from PIL.PngImagePlugin import PngInfo

PDF = b"%PDF-1.4\n1 0 obj\n<< /Type /Catalog >>\nendobj\ntrailer << /Root 1 0 R >>\n%%EOF\n"
# Degrees, minutes, seconds that stand nowhere else in the picture.
LATITUDE, LONGITUDE = (12.0, 34.0, 56.789), (98.0, 7.0, 6.543)
XMP = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><exif:GPSLatitude>12,34.9N</exif:GPSLatitude></x:xmpmeta>'


def plain(width_px: int = 40, height_px: int = 30) -> Image.Image:
    gradient = Image.linear_gradient("L").resize((width_px, height_px))
    return Image.merge("RGB", (gradient, gradient.transpose(Image.Transpose.ROTATE_180), gradient))


def exif(*, place: bool = True) -> Image.Exif:
    block = Image.Exif()
    block[ExifTags.Base.Orientation] = 6
    block[ExifTags.Base.Model] = "Camera 1"
    block.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = "2026:03:02 10:05:00"
    if place:
        block.get_ifd(ExifTags.IFD.GPSInfo).update({1: "N", 2: LATITUDE, 3: "E", 4: LONGITUDE})
    return block


def jpeg(*, place: bool = True, **how: Any) -> bytes:
    written = io.BytesIO()
    plain().save(written, "JPEG", exif=exif(place=place), **how)
    return written.getvalue()


def png(**how: Any) -> bytes:
    written = io.BytesIO()
    plain().save(written, "PNG", **how)
    return written.getvalue()


def told_text() -> PngInfo:
    """Text chunks of a PNG: a plain title, and a description that tells the place."""
    text = PngInfo()
    text.add_text("Title", "data_plate")
    text.add_itxt("XML:com.adobe.xmp", XMP.decode())
    return text


def opened(data: bytes) -> Image.Image:
    picture = Image.open(io.BytesIO(data))
    picture.load()
    return picture


def place_in(data: bytes) -> dict[int, Any]:
    """The GPS directory that a reader finds in the picture."""
    return dict(opened(data).getexif().get_ifd(ExifTags.IFD.GPSInfo))
