"""The text of a file that a person named, or a sentence that says why there is none."""

from pathlib import Path
from stat import S_ISDIR, S_ISREG

from simfan.errors import Problem, ScenarioError


def text_of(path: str | Path, wanted: str, largest: int) -> str:
    """The text of an ordinary UTF-8 file of at most so many bytes.

    `wanted` says what it should be, such as "a scenario file". Raises ScenarioError.
    """
    content = _bytes(path, wanted, largest)
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _unreadable("text in UTF-16", "text in UTF-8", "save it again as UTF-8")
    if b"\0" in content:
        raise _unreadable("a binary file", "a text file in UTF-8")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        problem = Problem((), "a character that is not UTF-8", "text in UTF-8",
                          "save the file again as UTF-8", line=line)
        raise ScenarioError([problem]) from None


def _bytes(path: str | Path, wanted: str, largest: int) -> bytes:
    """The file's bytes; only of an ordinary file, since reading a pipe could wait for ever."""
    try:
        status = Path(path).stat()
        if S_ISDIR(status.st_mode):
            raise _unreadable("a folder", wanted)
        if not S_ISREG(status.st_mode):
            raise _unreadable("something that is not an ordinary file", wanted)
        if status.st_size > largest:
            raise _unreadable(f"a file of {status.st_size // 1000} kB",
                              f"{wanted.removesuffix(' file')} of at most {largest // 1000} kB")
        return Path(path).read_bytes()
    except FileNotFoundError:
        raise _unreadable("no file of this name", wanted, _neighbours(path)) from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise _unreadable(f"a file that cannot be read ({why})", "a readable file") from None


def _neighbours(path: str | Path) -> str:
    """A hint: the files of that kind that do stand in that folder."""
    try:
        names = sorted(p.name for p in Path(path).parent.glob(f"*{Path(path).suffix or '.toml'}"))
    except (OSError, ValueError):
        names = []
    return f"there is {', '.join(names[:5])}" if names else ""


def _unreadable(got: str, allowed: str, hint: str = "") -> ScenarioError:
    return ScenarioError([Problem((), got, allowed, hint)])
