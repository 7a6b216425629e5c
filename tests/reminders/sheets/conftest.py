"""Sheets of invented tape, and ways to read a PDF back."""

import os
import shutil
import subprocess
from collections.abc import Callable
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from clinic.models import Clinic
from taping.models import Application
from tests.factories import ApplicationFactory, PatientFactory


@pytest.fixture
def tape(clinic: Clinic, now: datetime) -> Application:
    """Tape on the left knee of Ada Quillfeather since the tests' moment."""
    patient = PatientFactory(full_name="Ada Quillfeather", call_me="Ada", phone="+12125550123")
    application: Application = ApplicationFactory(patient=patient)
    return application


def program(name: str) -> str:
    """A program of Debian's that reads papers back; without it the test is skipped, and fails where CI is set."""
    found = shutil.which(name)
    if found is None and os.environ.get("CI") == "true":
        pytest.fail(f"{name} is not installed")
    if found is None:
        pytest.skip(f"{name} is not installed")
    return found


@pytest.fixture
def text_of(tmp_path: Path) -> Callable[[bytes], str]:
    """text_of(pdf): its words in one line, as pdftotext reads them."""

    def read(pdf: bytes) -> str:
        file = tmp_path / "sheet.pdf"
        file.write_bytes(pdf)
        told = subprocess.run([program("pdftotext"), "-enc", "UTF-8", file, "-"], capture_output=True, check=True)
        return " ".join(told.stdout.decode().split())

    return read


@pytest.fixture
def codes_of(tmp_path: Path) -> Callable[[bytes], list[str]]:
    """codes_of(pdf): what a scanner reads from the rendered pages."""

    def read(pdf: bytes) -> list[str]:
        file = tmp_path / "sheet.pdf"
        file.write_bytes(pdf)
        subprocess.run([program("pdftoppm"), "-r", "110", "-png", file, tmp_path / "page"], check=True)
        pages = sorted(tmp_path.glob("page*.png"))
        told = subprocess.run([program("zbarimg"), "-q", "--raw", *pages], capture_output=True, check=False)
        return told.stdout.decode().split()

    return read


def reader_of(pdf: bytes) -> PdfReader:
    return PdfReader(BytesIO(pdf))


def fonts_of(pdf: bytes) -> dict[str, bool]:
    """The fonts of a PDF by name, and whether each is embedded."""
    found = {}
    pages: Any = reader_of(pdf).pages
    for page in pages:
        for font in page["/Resources"].get("/Font", {}).values():
            for descendant in font.get_object().get("/DescendantFonts", []):
                described = descendant.get_object()["/FontDescriptor"].get_object()
                embedded = any(f"/FontFile{number}" in described for number in ("", "2", "3"))
                found[str(described["/FontName"])] = embedded
    return found
