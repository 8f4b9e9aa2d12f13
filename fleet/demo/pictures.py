"""Two drawn pictures in place of photographs: a blocked heat exchanger, a letter on a door. Made here."""

import struct
import zlib

import numpy as np
from numpy.typing import NDArray

WIDTH, HEIGHT = 480, 320


def soot_photo() -> bytes:
    """Fins of a heat exchanger, a third of them black, as a PNG."""
    across, down = np.meshgrid(np.arange(WIDTH), np.arange(HEIGHT))
    fins = 150 + 60 * np.sign(np.sin(across / 6.0))
    soot = np.exp(-(((across - 170) / 110.0) ** 2 + ((down - 150) / 80.0) ** 2))
    grain = np.random.default_rng(1).normal(0, 6, fins.shape)
    grey = fins * (1 - 0.9 * soot) + grain
    return _png(np.stack([grey, grey * 0.97, grey * 0.92], axis=-1))


def letter_photo() -> bytes:
    """A pale sheet with lines of writing on a dark door, as a PNG."""
    door = np.full((HEIGHT, WIDTH, 3), (70.0, 82.0, 74.0))
    door[60:270, 150:330] = (236.0, 233.0, 222.0)
    for row in range(85, 240, 16):
        door[row : row + 3, 170 : 310 - (row * 37) % 60] = (90.0, 90.0, 110.0)
    return _png(door + np.random.default_rng(2).normal(0, 3, door.shape))


def _png(rgb: NDArray[np.float64]) -> bytes:
    """Eight bits a channel, no filter (ISO/IEC 15948)."""
    pixels = np.clip(rgb, 0, 255).astype(np.uint8)
    rows = b"".join(b"\0" + row.tobytes() for row in pixels)
    header = struct.pack(">IIBBBBB", pixels.shape[1], pixels.shape[0], 8, 2, 0, 0, 0)
    parts = ((b"IHDR", header), (b"IDAT", zlib.compress(rows)), (b"IEND", b""))
    chunks = (struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
              for kind, data in parts)  # fmt: skip
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunks)
