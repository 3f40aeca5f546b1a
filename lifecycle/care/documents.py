"""Safety and product data sheets of the studio's products: the newest revision holds, earlier ones are kept."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final
from uuid import UUID, uuid4

from django.conf import settings
from django.core.files.base import ContentFile, File
from django.db import IntegrityError, transaction

from lifecycle import journal
from lifecycle.care.find import one, plausible_day
from lifecycle.care.image_files import follows
from lifecycle.care.images import spoken_name
from lifecycle.care.register import known
from lifecycle.care.wording import day_words
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import Document, DocumentKind, Product, Studio

MOST_BYTES: Final = 20_000_000
LANGUAGE_LETTERS: Final = range(2, 9)
# Older than this, ask the supplier for the current revision (common practice, no source).
OLD_YEARS: Final = 5
END_WITHIN: Final = 2048  # bytes from the end in which a whole PDF says that it ends (readers look in the last 1024)


@dataclass(frozen=True, slots=True)
class DocumentView:
    """One sheet. `current`: the newest of its kind and language; `old`: revised more than five years ago."""

    id: int
    uid: UUID
    product_id: int
    product: str
    kind: str
    kind_words: str
    revision: str
    revised_on: date
    language: str
    size: int
    sha256: str
    retired: bool
    current: bool
    old: bool

    @property
    def label(self) -> str:
        said = f"revision {self.revision}, " if self.revision else ""
        return f"{self.kind_words}, {said}{day_words(self.revised_on)}, {self.language}"


@dataclass(frozen=True, slots=True)
class ProductSheets:
    """A product with its sheets. `missing_sds`: it has none that holds."""

    product_id: int
    product: str
    current: tuple[DocumentView, ...]
    earlier: tuple[DocumentView, ...]
    missing_sds: bool

    @property
    def sds(self) -> tuple[DocumentView, ...]:
        return tuple(row for row in self.current if row.kind == DocumentKind.SDS)


def _refusal(name: str, what: str, mend: str) -> DomainError:
    return DomainError(f"document: “{spoken_name(name) or 'the file'}”: {what}. {mend}", field="document")


def checked_pdf(data: bytes, *, name: str = "", most_bytes: int = MOST_BYTES) -> None:
    """Refuse what is no whole PDF by its content (ISO 32000-1, 7.5.2 header and 7.5.5 trailer; from memory).

    Raises:
        DomainError: field "document": empty, too large, no PDF, cut off, or another file behind it.
    """
    if not data:
        raise _refusal(name, "the file is empty", "Choose it again; it may not have been copied whole.")
    if len(data) > most_bytes:
        raise _too_large(name, len(data), most_bytes)
    if not (data.startswith((b"%PDF-1.", b"%PDF-2."))):
        raise _refusal(
            name,
            "by its content this is no PDF",
            "Save or print the sheet as a PDF; a new file name alone does not help.",
        )
    end = data.rfind(b"%%EOF")
    hidden = follows(data[end + 5 :]) if end >= 0 else ""
    if hidden:
        raise _refusal(name, f"a second file hides behind the PDF: {hidden}", "Get the sheet from its maker once more.")
    if end < 0 or end < len(data) - END_WITHIN:
        raise _refusal(name, "the PDF is cut off: its end is missing", "Get the sheet from its maker once more.")


def _too_large(name: str, size: int, most_bytes: int) -> DomainError:
    what = f"{size / 1e6:.1f} MB is more than the {most_bytes / 1e6:.0f} MB that a sheet may have"
    return _refusal(name, what, "Ask the maker for a smaller file, or print it to PDF anew.")


def _read(upload: bytes | File[bytes], name: str) -> bytes:
    most_bytes = int(getattr(settings, "DOCUMENT_MOST_BYTES", MOST_BYTES))
    if isinstance(upload, bytes):
        data = upload
    else:
        name = name or upload.name or ""
        if upload.size > most_bytes:
            raise _too_large(name, upload.size, most_bytes)
        upload.seek(0)
        data = upload.read(most_bytes + 1)
    checked_pdf(data, name=name, most_bytes=most_bytes)
    return data


def add_document(
    *,
    studio: Studio,
    product_id: int,
    kind: str,
    revised_on: date,
    revision: str = "",
    language: str,
    upload: bytes | File[bytes],
    name: str = "",
    actor: str,
    at: datetime,
) -> Document:
    """Put a sheet on record. The same file again, still on record, is the sheet that is there.

    Args:
        kind: "sds" or "pds".  revision: as printed on it.  revised_on: the day printed on it.
        language: letters of its language, like en or de-AT.

    Raises:
        DomainError: names the field: a word or day that does not fit, or the file (`checked_pdf`).
        NotFoundHere: the product is not of this studio.
    """
    known("kind", kind, tuple(DocumentKind.values))
    plausible_day("revised_on", revised_on)
    if revised_on > studio.day(at):
        raise DomainError(f"revised_on: {revised_on} lies in the future.", field="revised_on")
    tongue = language.strip()
    if len(tongue) not in LANGUAGE_LETTERS or not tongue.replace("-", "").isalpha() or not tongue.isascii():
        raise DomainError("language: write it like en, de or pt-BR.", field="language")
    said = " ".join(revision.split())
    if len(said) > 40:
        raise DomainError("revision: write 40 characters at most.", field="revision")
    product = one(Product, studio, product_id)
    data = _read(upload, name)
    document: Document = Document(
        studio=studio, uid=uuid4(), product=product, kind=kind, revision=said, revised_on=revised_on, language=tongue,
        size=len(data), sha256=hashlib.sha256(data).hexdigest(), added_at=at,
    )  # fmt: skip
    before = _same(document)
    if before is not None:
        return before
    try:
        document.file.save(f"documents/{document.uid.hex[:2]}/{document.uid.hex}.pdf", ContentFile(data), save=False)
        with transaction.atomic():
            document.save()
            journal.record(
                studio=studio, actor=actor, at=at, verb="document added", subject="document", subject_id=document.pk,
                product=product.pk, kind=kind, revised_on=revised_on, sha256=document.sha256,
            )  # fmt: skip
    except IntegrityError:
        _discard(document)
        first = _same(document)  # sent twice at the same moment
        if first is None:
            raise
        return first
    except BaseException:
        _discard(document)
        raise
    return document


def _discard(document: Document) -> None:
    if document.file.name:
        document.file.storage.delete(document.file.name)


def _same(document: Document) -> Document | None:
    found: Document | None = Document.objects.filter(
        studio=document.studio, product=document.product, kind=document.kind, language=document.language,
        sha256=document.sha256, retired_at=None,
    ).first()  # fmt: skip
    return found


def retire_document(*, studio: Studio, document_id: int, actor: str, at: datetime) -> Document:
    """A sheet no longer holds: it stays to be read among the earlier ones.

    Raises:
        DomainError: it was retired already.
        NotFoundHere: the sheet is not of this studio.
    """
    with transaction.atomic():
        document = one(Document, studio, document_id, lock=True)
        if document.retired_at is not None:
            raise DomainError("This sheet was retired already.")
        document.retired_at = at
        document.save(update_fields=["retired_at"])
        journal.record(
            studio=studio, actor=actor, at=at, verb="document retired", subject="document", subject_id=document.pk,
            product=document.product_id, kind=document.kind,
        )  # fmt: skip
    return document


def _is_old(revised_on: date, today: date) -> bool:
    return (today.year - revised_on.year, today.month, today.day) > (OLD_YEARS, revised_on.month, revised_on.day)


def sheets(studio: Studio, *, today: date, product_ids: Iterable[int] | None = None) -> tuple[ProductSheets, ...]:
    """The products with their sheets, by code; two queries. `product_ids`: only these."""
    products = Product.objects.of(studio).order_by("code")
    if product_ids is not None:
        products = products.filter(pk__in=list(product_ids))
    named = {row.pk: str(row) for row in products}
    held: dict[int, list[DocumentView]] = {pk: [] for pk in named}
    newest: set[tuple[int, str, str]] = set()
    rows = Document.objects.of(studio).filter(product_id__in=list(named))
    for row in rows.order_by("-revised_on", "-added_at", "-id"):
        group = (row.product_id, row.kind, row.language)
        current = row.retired_at is None and group not in newest
        if current:
            newest.add(group)
        held[row.product_id].append(_view(row, named[row.product_id], current=current, today=today))
    return tuple(_of_product(pk, name, held[pk]) for pk, name in named.items())


def _of_product(pk: int, name: str, rows: list[DocumentView]) -> ProductSheets:
    current = tuple(sorted((row for row in rows if row.current), key=lambda row: (row.kind != "sds", row.language)))
    return ProductSheets(
        product_id=pk, product=name, current=current, earlier=tuple(row for row in rows if not row.current),
        missing_sds=not any(row.kind == DocumentKind.SDS for row in current),
    )  # fmt: skip


def _view(row: Any, product: str, *, current: bool, today: date) -> DocumentView:
    return DocumentView(
        id=row.pk, uid=row.uid, product_id=row.product_id, product=product, kind=row.kind,
        kind_words=str(row.get_kind_display()), revision=row.revision, revised_on=row.revised_on,
        language=row.language, size=row.size, sha256=row.sha256, retired=row.retired_at is not None, current=current,
        old=_is_old(row.revised_on, today),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class SheetFile:
    """A stored sheet, ready to be handed out."""

    name: str
    etag: str
    stored: Any


def document_file(studio: Studio, uid: UUID) -> SheetFile:
    """The stored file of a sheet of this studio.

    Raises:
        NotFoundHere: no such sheet here, or the storage has lost it.
    """
    row = Document.objects.of(studio).filter(uid=uid).select_related("product").first()
    if row is None or not row.file.storage.exists(row.file.name):
        raise NotFoundHere("There is no such sheet here.")
    code = "".join(char if char.isascii() and char.isalnum() else "-" for char in row.product.code)
    return SheetFile(
        name=f"{code}-{row.kind}-{row.revised_on}-{row.language}.pdf", etag=f'"{row.sha256[:40]}"', stored=row.file
    )
