"""How the tests read a paper: its words, its faces, its pages."""

import re
from io import BytesIO
from typing import Any

from pypdf import PdfReader


def pages(pdf: bytes) -> list[str]:
    return [page.extract_text() for page in PdfReader(BytesIO(pdf)).pages]


def words(pdf: bytes) -> str:
    """All text on one line, so that a sentence is found wherever its lines break."""
    return re.sub(r"\s+", " ", " ".join(pages(pdf)))


def faces(pdf: bytes) -> dict[str, bool]:
    """Every face of every page, and whether the file carries it."""
    found: dict[str, bool] = {}
    for page in PdfReader(BytesIO(pdf)).pages:
        for font in page["/Resources"]["/Font"].values():  # type: ignore[index]  # pypdf types resources as objects
            face: Any = font.get_object()
            descriptor = face.get("/FontDescriptor")
            found[str(face["/BaseFont"])] = bool(descriptor and "/FontFile2" in descriptor.get_object())
    return found


def size_pt(pdf: bytes) -> tuple[float, float]:
    box = PdfReader(BytesIO(pdf)).pages[0].mediabox
    return float(box.width), float(box.height)
