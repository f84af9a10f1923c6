"""PDFs read back with poppler's programs; a test that calls these carries the mark ``poppler``."""

from __future__ import annotations

import subprocess
from pathlib import Path


def pdf_text(path: Path, *options: str) -> str:
    """Return the words of a PDF as ``pdftotext`` prints them."""
    return _told("pdftotext", *options, path, "-")


def pdf_words(path: Path, *options: str) -> str:
    """Return the words of a PDF in one line, one blank between them."""
    return " ".join(pdf_text(path, *options).split())


def pdf_info(path: Path) -> str:
    """Return what ``pdfinfo`` says of a PDF: pages, page size, title."""
    return _told("pdfinfo", path)


def pdf_fonts(path: Path) -> list[str]:
    """Return one line a font from ``pdffonts``, without its heading."""
    return _told("pdffonts", path).splitlines()[2:]


def _told(*command: str | Path) -> str:
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout
