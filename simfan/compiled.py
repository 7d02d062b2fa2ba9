"""Where compiled code is kept: one folder for each version of the sources and their place.

A cached function that calls one in another file is not compiled anew when that other file
changes, so the folder carries a hash of every compiled source. numba keeps code by the place of its
source, so the place is part of the hash: else another copy would look compiled and not be.
"""

import hashlib
import os
import tempfile
from pathlib import Path

from simfan import __version__

_HERE = Path(__file__).parent


def use_own_cache() -> None:
    """Set numba's cache folder, before numba is imported; a folder the user set is left alone."""
    os.environ.setdefault("NUMBA_CACHE_DIR", str(cache_folder()))


def cache_folder() -> Path:
    """The user's cache folder, or a temporary one where that cannot be written."""
    place = Path("simfan") / __version__ / source_hash()
    try:
        base = Path(os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA")
                    or Path("~/.cache").expanduser())
        (base / place).mkdir(parents=True, exist_ok=True)
        if os.access(base / place, os.W_OK):
            return base / place
    except (OSError, RuntimeError):
        pass
    return Path(tempfile.gettempdir()) / place


def source_hash() -> str:
    """Of all sources that are compiled, and where they lie."""
    digest = hashlib.sha256(str(_HERE).encode())
    for source in sorted([*(_HERE / "kernel").glob("*.py"), *(_HERE / "measures").glob("*.py")]):
        digest.update(source.name.encode() + source.read_bytes())
    return digest.hexdigest()[:16]
