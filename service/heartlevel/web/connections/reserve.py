"""Room that answers in temporary files leave to the service itself.

Its counters are files mapped into memory, in the same place: a process that cannot get a page of them is ended (SIGBUS),
and none could take its place.
"""

from errno import ENOSPC
from os import statvfs, strerror
from tempfile import gettempdir

LEFT = 8 * 1024 * 1024  # bytes


def leave_room(size: int) -> None:
    """Raise OSError, as a full disk does, where so many bytes more would leave too little room."""
    status = statvfs(gettempdir())
    if status.f_bavail * status.f_frsize - size < LEFT:
        raise OSError(ENOSPC, strerror(ENOSPC))
