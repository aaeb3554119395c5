"""From a file to one page, or one sentence why not."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pikepdf

from kerfwright.errors import OutOfResourcesError, UnreadableError
from kerfwright.formats.limits import ReadLimits
from kerfwright.formats.notes import Notes
from kerfwright.formats.pdf.values import is_dictionary, is_stream, items_of
from kerfwright.formats.text import printable

# Readers look for the end mark in the last 1024 bytes (ISO 32000-1 annex H, from memory); mail
# programs append more.
_TAIL_BYTES: Final = 4096
_MOST_WORDS: Final = 120
_LIMIT_WORDS: Final = ("limit exceeded", "memory limit")


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenPage:
    """A page of an open file.

    Parameters
    ----------
    pdf : pikepdf.Pdf
        The file.
    page : pikepdf.Object
        Dictionary of the page.
    sha256 : str
        Hash of the file.
    """

    pdf: pikepdf.Pdf
    page: Any
    sha256: str


def open_page(path: Path, *, file: str, page: int, limits: ReadLimits, notes: Notes) -> OpenPage:
    """Open a file and return one of its pages, counted from one.

    Raises
    ------
    UnreadableError
        If the file is encrypted, damaged beyond repair, cut short, or has no such page.
    OutOfResourcesError
        If its inner tables unpack to more than the limit.
    """
    _limit_library(limits)
    content = path.read_bytes()
    if b"%%EOF" not in content[-_TAIL_BYTES:]:
        msg = (
            f"{file}: the PDF file ends without its end mark; it was cut short, have it sent again"
        )
        raise UnreadableError(msg)
    pdf = _opened(path, file, limits)
    if pdf.is_encrypted:
        raise _encrypted(file)
    pages = _pages(pdf, file)
    if not 1 <= page <= len(pages):
        have = "one page" if len(pages) == 1 else f"{len(pages)} pages"
        msg = f"{file}: page {page} was asked for, the file has {have}"
        raise UnreadableError(msg)
    if warnings := pdf.get_warnings():
        said = printable(str(warnings[0]).rpartition("): ")[2] or str(warnings[0]))[:_MOST_WORDS]
        notes.add("PDF-140", params={"count": len(warnings), "names": said.rpartition(">: ")[2]})
    return OpenPage(pdf=pdf, page=pages[page - 1], sha256=hashlib.sha256(content).hexdigest())


def _limit_library(limits: ReadLimits) -> None:
    """Set the limits of the library, which hold for the whole process."""
    pikepdf.settings.set_qpdf_limits(
        flate_max_memory=limits.decoded_bytes,
        run_length_max_memory=limits.decoded_bytes,
        png_max_memory=limits.decoded_bytes,
        tiff_max_memory=limits.decoded_bytes,
        dct_max_memory=limits.decoded_bytes,
    )


def _opened(path: Path, file: str, limits: ReadLimits) -> pikepdf.Pdf:
    try:
        return pikepdf.open(path)
    except pikepdf.PasswordError:
        raise _encrypted(file) from None
    except (pikepdf.PdfError, ValueError, RuntimeError, LookupError, TypeError) as error:
        raise failure(error, "the PDF file", file=file, limits=limits) from None


def _pages(pdf: pikepdf.Pdf, file: str) -> list[Any]:
    try:
        return [page.obj for page in pdf.pages]
    except (pikepdf.PdfError, ValueError, RuntimeError, LookupError, TypeError) as error:
        said = printable(str(error))[:_MOST_WORDS]
        msg = f"{file}: the pages of the PDF file cannot be listed ({said}); have it exported anew"
        raise UnreadableError(msg) from None


def _encrypted(file: str) -> UnreadableError:
    msg = f"{file}: the PDF file is encrypted; have it saved without protection"
    return UnreadableError(msg)


def failure(
    error: Exception, what: str, *, file: str, limits: ReadLimits
) -> UnreadableError | OutOfResourcesError:
    """Return the error of the tree for what the library threw."""
    said = str(error)
    if any(words in said for words in _LIMIT_WORDS):
        msg = (
            f"{file}: {what} unpacks to more than {limits.decoded_bytes} bytes, which is the "
            "limit; leave out what is not cut, or raise the limit"
        )
        return OutOfResourcesError(msg)
    words = printable(said.rpartition(">")[2].lstrip(") :"))[:_MOST_WORDS]
    msg = f"{file}: {what} is damaged ({words}); have it exported anew"
    return UnreadableError(msg)


@dataclass(slots=True)
class Streams:
    """Decoded streams of one file, counted against the limit.

    Parameters
    ----------
    file : str
        Name of the file, for messages.
    limits : ReadLimits
        What may be unpacked in all.
    """

    file: str
    limits: ReadLimits
    total: int = 0

    def page_content(self, page: object) -> bytes:
        """Return the content of a page, its parts joined."""
        contents = page.get("/Contents")  # type: ignore[attr-defined]
        if contents is None:
            return b""
        parts = [contents] if is_stream(contents) else items_of(contents)
        return b"\n".join(self.decoded(p, "the content of the page") for p in parts)

    def decoded(self, stream: Any, what: str) -> bytes:  # noqa: ANN401 - an object of the library
        """Return the content of a stream.

        Raises
        ------
        UnreadableError
            If it is no stream or its data are damaged.
        OutOfResourcesError
            If more was unpacked than the limit.
        """
        if not is_stream(stream):
            kind = "a dictionary" if is_dictionary(stream) else "no stream"
            msg = f"{self.file}: {what} is {kind}, where a stream should be; have it exported anew"
            raise UnreadableError(msg)
        try:
            content = bytes(stream.read_bytes())
        except (pikepdf.PdfError, ValueError, RuntimeError, TypeError) as error:
            raise failure(error, what, file=self.file, limits=self.limits) from None
        self.total += len(content)
        if self.total > self.limits.decoded_bytes:
            raise failure(ValueError(_LIMIT_WORDS[0]), what, file=self.file, limits=self.limits)
        return content
