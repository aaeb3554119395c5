"""A simulated printer, sheet, bed, camera and cut, for demonstrations, training and tests.

`print_and_throw` makes a `Truth`; `photograph` is all that a job may see of it. `cut_virtually`
follows a motion with its tools, and `measure_cut` compares what was cut with what was truly
printed. Knows no other stage, and shares no code with the ones it tests.
"""

from kerfwright.virtual._following import Face
from kerfwright.virtual.camera import photograph
from kerfwright.virtual.cutting import CutTrace, cut_virtually
from kerfwright.virtual.measuring import CutMeasure, measure_cut
from kerfwright.virtual.printing import Curl, Printer, Throw
from kerfwright.virtual.scene import Blemishes, Optics, Patch, Surface
from kerfwright.virtual.truth import Truth, print_and_throw

__all__ = [
    "Blemishes",
    "Curl",
    "CutMeasure",
    "CutTrace",
    "Face",
    "Optics",
    "Patch",
    "Printer",
    "Surface",
    "Throw",
    "Truth",
    "cut_virtually",
    "measure_cut",
    "photograph",
    "print_and_throw",
]
