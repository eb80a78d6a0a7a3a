"""Is what a device sends a plain picture, with nothing in it that tells where or by whom?"""

from __future__ import annotations

import io

from PIL import Image

MOST_PX = 12_000_000
# What a picture may carry besides itself: its size, its resolution, how it is to be decoded.
_PLAIN = {"jfif", "jfif_version", "jfif_unit", "jfif_density", "dpi", "progressive", "progression",
          "adobe", "adobe_transform", "icc_profile"}  # fmt: skip


def unfit(jpeg: bytes) -> str:
    """Why the bytes are no plain JPEG picture, "" if they are.

    A device draws a picture anew before it sends it, so there is no position, no date and no name
    of a camera in it. One that has them is refused here and not mended: what leaves the device
    unasked has left it.
    """
    try:
        with Image.open(io.BytesIO(jpeg), formats=["JPEG"]) as picture:
            if picture.width * picture.height > MOST_PX:
                return f"The picture has more than {MOST_PX // 1_000_000} million dots."
            more = set(picture.info) - _PLAIN
            if more or picture.getexif():
                return "The picture carries more than the picture, perhaps its position."
            picture.load()
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError):
        return "That is no JPEG picture, or not a whole one."
    return ""
