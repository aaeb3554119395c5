"""How much a reader may use up before it is stopped."""

from __future__ import annotations

from dataclasses import dataclass, fields

from kerfwright.errors import ModelError


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadLimits:
    """Limits of one reading; each is far above what a drawing for cutting needs.

    Parameters
    ----------
    file_bytes : int
        Largest file.
    entities : int
        Most entities, those of blocks counted once.
    instances : int
        Most placed copies of blocks, nested ones counted each.
    points : int
        Most vertices of the drawing that comes out.
    coordinate_mm : float
        Largest absolute coordinate and radius [mm].
    seconds : float
        Longest time of the reading process, wall clock and processor each [s].
    memory_bytes : int
        Most memory of the reading process.
    decoded_bytes : int
        Most bytes that packed streams of a file unpack to.
    operators : int
        Most operators of a page's content, those of forms counted each time they are placed.
    nesting : int
        Deepest nesting of forms.
    pixels : int
        Most pixels of a picture that is rendered.
    """

    file_bytes: int = 100_000_000
    entities: int = 200_000
    instances: int = 100_000
    points: int = 2_000_000
    coordinate_mm: float = 1e5
    seconds: float = 120.0
    memory_bytes: int = 2 << 30
    decoded_bytes: int = 128 << 20
    operators: int = 5_000_000
    nesting: int = 32
    pixels: int = 100_000_000

    def __post_init__(self) -> None:
        for field in fields(self):
            if not getattr(self, field.name) > 0:
                msg = f"ReadLimits.{field.name} is {getattr(self, field.name)}, must be above 0"
                raise ModelError(msg)
