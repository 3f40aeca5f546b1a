"""Take an uploaded picture apart and make a new one of it: what is kept is our own JPEG and nothing that came along.

Position, camera, comments, colour profile (converted to sRGB) and whatever was appended are gone; the orientation that
the camera noted is applied. Size in bytes and pixels is checked before anything is decoded. No Django.
"""

from __future__ import annotations

import hashlib
import threading
import unicodedata
import warnings
from dataclasses import dataclass
from io import BytesIO
from typing import Final

from PIL import Image, ImageCms

from lifecycle.care.image_files import DamagedError, header_of, is_heic, kind_of, other_kind, second_file
from lifecycle.errors import DomainError

MOST_BYTES: Final = 15_000_000
MOST_PIXELS: Final = 50_000_000
LONGEST_SIDE: Final = 20_000  # px; longer is a strip, no photo
KEPT_SIDE: Final = 2560
SMALL_SIDE: Final = 320
MOST_PROFILE: Final = 4_000_000  # bytes of a colour profile
WHITE: Final = (255, 255, 255)
ORIENTATION: Final = 0x0112
TURNS: Final = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
# One picture at a time in a process: it bounds the memory, and the filters of warnings belong to the whole process.
_ONE_AT_A_TIME = threading.Lock()


@dataclass(frozen=True, slots=True)
class Cleaned:
    """A picture encoded anew. `width` and `height` in px as seen upright; `sha256` is that of `jpeg`."""

    jpeg: bytes
    thumbnail: bytes
    width: int
    height: int
    sha256: str


def spoken_name(name: str) -> str:
    """A file's name fit to be shown: no folders, no control characters, at most 80 characters."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    shown = "".join(char for char in last if unicodedata.category(char)[0] != "C").strip()
    return shown if len(shown) <= 80 else f"{shown[:60]}…{shown[-16:]}"


def refusal(name: str, what: str, mend: str) -> DomainError:
    """The words for a file that is not taken: which file, what is wrong, how to mend it."""
    return DomainError(f"photo: {spoken_name(name) or 'The file'}: {what}. {mend}", field="photo")


def clean(data: bytes, *, name: str = "", most_bytes: int = MOST_BYTES, most_pixels: int = MOST_PIXELS) -> Cleaned:
    """Make a plain upright sRGB JPEG (long side at most 2560 px) and a thumbnail (320 px) of a JPEG, PNG or WebP.

    The kind is taken from the content, never from the name. Of an animation the first frame is taken. Transparent
    parts become white.

    Args:
        data: the upload.  name: what the person calls the file, for the words of a refusal.
        most_bytes: bytes of the upload.  most_pixels: width times height, px.

    Raises:
        DomainError: with field "photo": empty, too large, too many pixels, of another kind, damaged, cut off, or with
            a second file inside.
    """
    _check(data, name, most_bytes, most_pixels)
    with _ONE_AT_A_TIME, warnings.catch_warnings():
        # A damaged note beside the picture is no reason to refuse it: the notes are dropped.
        warnings.simplefilter("ignore")
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        try:
            picture = _decoded(data, most_pixels)
        except (Image.DecompressionBombWarning, Image.DecompressionBombError) as error:
            raise _too_many_pixels(name, most_pixels) from error
        except Exception as error:  # crafted data makes a decoder raise nearly anything
            raise refusal(
                name,
                "the picture is damaged or cut off and cannot be opened to its end",
                "Send it once more from the camera or phone, or take it again.",
            ) from error
        jpeg, small = _encoded(picture, quality=86), _encoded(_within(picture, SMALL_SIDE), quality=80)
    return Cleaned(jpeg, small, picture.width, picture.height, hashlib.sha256(jpeg).hexdigest())


def _check(data: bytes, name: str, most_bytes: int, most_pixels: int) -> None:
    """Everything that can be said without decoding."""
    if not data:
        raise refusal(name, "the file is empty", "Choose the photo again; it may not have been copied whole.")
    if len(data) > most_bytes:
        raise too_large(name, len(data), most_bytes)
    if is_heic(data):
        raise refusal(
            name,
            "this is a HEIC picture, which browsers do not show",
            "On the phone choose the most compatible format (JPEG) in the camera's settings, or share it as JPEG.",
        )
    if not kind_of(data):
        what = other_kind(data)
        raise refusal(
            name,
            f"by its content this is {what}, no photo" if what else "by its content this is no picture that we know",
            "Choose a JPEG, PNG or WebP file; a new file name alone does not change what is inside.",
        )
    try:
        header = header_of(data)
    except DamagedError as error:
        raise refusal(
            name, f"the picture is damaged: {error}", "Send it once more from the camera or phone, or take it again."
        ) from error
    if not header.width or not header.height:
        raise refusal(name, "the picture has no width or no height", "Take the photo again.")
    if header.width * header.height > most_pixels:
        raise _too_many_pixels(name, most_pixels, header.width, header.height)
    if max(header.width, header.height) > LONGEST_SIDE:
        raise refusal(
            name,
            f"{header.width} × {header.height} pixels is longer than {LONGEST_SIDE} pixels",
            "Crop it to what it shows, or take an ordinary photo.",
        )
    hidden = second_file(data, header.end)
    if hidden:
        raise refusal(
            name,
            f"a second file hides in the picture: {hidden}",
            "Open the picture, save it anew as JPEG and send that.",
        )


def too_large(name: str, size: int, most_bytes: int) -> DomainError:
    """The refusal of a file with too many bytes."""
    return refusal(
        name,
        f"{size / 1e6:.1f} MB is more than the {most_bytes / 1e6:.0f} MB that a photo may have",
        "Send it in a smaller size, or as JPEG.",
    )


def _too_many_pixels(name: str, most_pixels: int, width: int = 0, height: int = 0) -> DomainError:
    seen = f"{width} × {height} pixels are" if width else "it has"
    return refusal(
        name, f"{seen} more than {most_pixels / 1e6:.0f} million pixels", "Take or save it in a smaller resolution."
    )


def _decoded(data: bytes, most_pixels: int) -> Image.Image:
    """The picture, upright, at most `KEPT_SIDE` px long, RGB in sRGB, with nothing else on it."""
    with Image.open(BytesIO(data), formats=[kind_of(data)]) as opened:
        if opened.width * opened.height > most_pixels:
            raise Image.DecompressionBombError
        profile = opened.info.get("icc_profile")
        turn = TURNS.get(_orientation(opened))
        opened.draft(None, (KEPT_SIDE, KEPT_SIDE))  # large JPEGs are decoded at a half or less
        opened.load()
        picture = _within(_resizable(opened), KEPT_SIDE)
    picture = _in_srgb(_flat(picture), profile)
    if turn is not None:
        picture = picture.transpose(turn)
    picture.info.clear()  # a comment would be written again
    return picture


def _orientation(picture: Image.Image) -> int:
    try:
        said = picture.getexif().get(ORIENTATION, 1)
    except Exception:  # the notes are damaged: taken as upright
        return 1
    return said if isinstance(said, int) else 1


def _resizable(picture: Image.Image) -> Image.Image:
    """In a mode that can be scaled: L, RGB, RGBA or CMYK."""
    if picture.mode.startswith("I"):  # 16 bits a pixel
        return picture.convert("I").point(lambda value: value * (1 / 256)).convert("L")
    if picture.mode in ("L", "RGB", "RGBA", "CMYK"):
        return picture
    clear = picture.mode in ("LA", "PA", "La", "RGBa") or "transparency" in picture.info
    return picture.convert("RGBA" if clear else "RGB")


def _flat(picture: Image.Image) -> Image.Image:
    """Without transparency: white behind it."""
    if picture.mode == "RGB" and "transparency" in picture.info:
        picture = picture.convert("RGBA")
    if picture.mode != "RGBA":
        return picture
    ground = Image.new("RGB", picture.size, WHITE)
    ground.paste(picture, mask=picture.getchannel("A"))
    return ground


def _in_srgb(picture: Image.Image, profile: object) -> Image.Image:
    if picture.mode in ("RGB", "CMYK") and isinstance(profile, bytes) and 0 < len(profile) <= MOST_PROFILE:
        try:
            own = ImageCms.ImageCmsProfile(BytesIO(profile))
            turned = ImageCms.profileToProfile(picture, own, ImageCms.createProfile("sRGB"), outputMode="RGB")
        except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
            turned = None  # the profile is damaged or of other colours: shown as it is
        if turned is not None:
            return turned
    return picture.convert("RGB")


def _within(picture: Image.Image, side: int) -> Image.Image:
    """No side longer than `side` px; never enlarged, never without a pixel."""
    longest = max(picture.size)
    if longest <= side:
        return picture.copy()
    width, height = (max(1, round(length * side / longest)) for length in picture.size)
    return picture.resize((width, height), Image.Resampling.LANCZOS, reducing_gap=3.0)


def _encoded(picture: Image.Image, *, quality: int) -> bytes:
    out = BytesIO()
    picture.save(out, format="JPEG", quality=quality, optimize=True, progressive=True)
    return out.getvalue()
