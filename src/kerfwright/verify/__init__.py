"""An independent check of the program as read; shares no code with what wrote it."""

from kerfwright.model.verification import Verification
from kerfwright.verify.check import check_program

__all__ = ["Verification", "check_program"]
