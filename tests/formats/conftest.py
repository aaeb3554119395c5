"""Small DXF files made on the spot, and the reader called with and without its child process."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from unittest import mock

import ezdxf
import pytest

from kerfwright import formats
from kerfwright.formats.drawing import drawing_of
from kerfwright.formats.dxf import reader
from kerfwright.formats.limits import ReadLimits
from kerfwright.model.drawing import Drawing

MM = 4


@pytest.fixture
def document():
    """A new document in millimetres, metric, without a doubt about units."""
    return ezdxf.new("R2010", units=MM)


def read_document(
    doc, *, units="mm", scale=1.0, tolerance_mm=0.001, limits=None, file="drawing.dxf"
) -> Drawing:
    """Read a document without writing it, in this process: quick enough for many examples."""
    request = {
        "path": file,
        "file": file,
        "units": units,
        "scale": scale,
        "tolerance_mm": tolerance_mm,
        "limits": asdict(limits or ReadLimits()),
    }
    with mock.patch.object(reader, "load", return_value=doc):
        header, arrays = reader.read(request)
    return drawing_of(header, arrays, file=file, tolerance_mm=tolerance_mm)


@pytest.fixture(scope="session")
def read_here() -> Callable[..., Drawing]:
    return read_document


@pytest.fixture
def read_file(tmp_path) -> Callable[..., Drawing]:
    """Write text, bytes or a document and read it as everybody does."""

    def read(content, name="drawing.dxf", **options):
        path = tmp_path / name
        if isinstance(content, bytes):
            path.write_bytes(content)
        elif isinstance(content, str):
            path.write_text(content, encoding="utf-8")
        else:
            content.saveas(path)
        return formats.read_artwork(path, **options)

    return read
