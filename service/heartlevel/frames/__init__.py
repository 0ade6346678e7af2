"""From a pandas table of readings to tables of what was found; the numbers are those of the service."""

from heartlevel.frames.assessing import assess_frame, examined_frame
from heartlevel.frames.result import Result

__all__ = ["Result", "assess_frame", "examined_frame"]
