"""Pictures: whether a file is a photograph, by what it holds and not by its name."""

from __future__ import annotations

from pathlib import Path

from chatter.errors import BookError

#: Brands of still pictures in a box like that of mp4 (ISO/IEC 23008-12, HEIF; from memory): what
#: many phones write, and Pillow cannot read.
_HEIF = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"mif1", b"msf1", b"avif")


def check_picture_file(path: str | Path) -> None:
    """Raise BookError, in one sentence, when a file that can be read is no picture."""
    from PIL import Image, UnidentifiedImageError

    file = Path(path)
    try:
        with file.open("rb") as opened:
            head = opened.read(12)
        if head[4:8] == b"ftyp" and head[8:12] in _HEIF:
            return
        with Image.open(file) as picture:
            picture.verify()
    except OSError as error:
        # a file that cannot be read at all is told of where it is kept
        if isinstance(error, UnidentifiedImageError) or error.errno is None:
            raise _no_picture(file) from None
    except (SyntaxError, ValueError, Image.DecompressionBombError):
        raise _no_picture(file) from None


def _no_picture(file: Path) -> BookError:
    return BookError(
        f"'{file.name}' holds no photograph that can be read: give a JPEG, PNG, WebP or HEIC file."
    )
