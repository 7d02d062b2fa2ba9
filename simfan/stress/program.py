"""What the numbers of a run depend on beside its scenario: the program, libraries, kind of machine.

The same on two machines, their runs are the same to the last bit, save where their processors
differ in the rounding of library functions.
"""

import platform
from collections.abc import Mapping
from functools import cache
from hashlib import sha256
from importlib import metadata
from pathlib import Path

from simfan import __version__

LIBRARIES = ("numpy", "numba", "llvmlite", "scipy", "simpy", "pydantic")


@cache
def sources() -> str:
    """Of all sources of simfan: the first 16 hexadecimal digits of the SHA-256."""
    here, digest = Path(__file__).parents[1], sha256()
    for source in sorted(here.rglob("*.py")):
        digest.update(source.relative_to(here).as_posix().encode() + source.read_bytes())
    return digest.hexdigest()[:16]


@cache
def program() -> dict[str, str]:
    """Name → version, of everything here that a run depends on."""
    return {"simfan": f"{__version__} ({sources()})", "Python": platform.python_version(),
            **{name: metadata.version(name) for name in LIBRARIES},
            "system": f"{platform.system()} {platform.machine()}"}


def differences(here: Mapping[str, str], there: Mapping[str, str]) -> str:
    """What differs there from here, in words; empty where nothing does."""
    return ", ".join(f"{name} {there.get(name, 'missing')} there, {version} here"
                     for name, version in here.items() if there.get(name) != version)
