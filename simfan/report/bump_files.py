"""The folder of a test on a loop: bump.json, bump.txt, bump.html and its picture; the same of a
relay test under relay. What else is in the folder is left as it is."""

import json
from pathlib import Path

from simfan.experiment_answer import BumpTest, RelayTest
from simfan.report import bump_page, files, page, web
from simfan.report.sections import Section
from simfan.tested import to_json
from simfan.units import System


def write(folder: Path, test: BumpTest | RelayTest, system: System) -> list[Path]:
    """Write everything; the paths written. RunError names the first file that failed."""
    name, written = name_of(test), []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for ending, words in ((".json", as_json(test)),
                              (".txt", files.on_paper(test, system, sections(test))),
                              (".html", on_page(test, system))):
            written.append(files.write_text(folder / f"{name}{ending}", words))
        for drawing in page.drawings(test, system, sections(test)):
            written += drawing.save(folder)
    except OSError as why:
        place = Path(why.filename) if why.filename else folder
        raise files.unwritable(place, why, written) from None
    return written


def name_of(test: BumpTest | RelayTest) -> str:
    """Of its files."""
    return "bump" if isinstance(test, BumpTest) else "relay"


def sections(test: BumpTest | RelayTest) -> tuple[Section, ...]:
    """Of its page."""
    return bump_page.BUMP if isinstance(test, BumpTest) else bump_page.RELAY


def as_json(test: BumpTest | RelayTest) -> str:
    """The answer as text; refuses nan and infinity, which JSON has not."""
    return json.dumps(to_json(test), indent=2, allow_nan=False, ensure_ascii=False) + "\n"


def on_page(test: BumpTest | RelayTest, system: System) -> str:
    """Its HTML page."""
    traced = f" (content {test.fingerprint})" if test.fingerprint else ""
    notes = [f"From {test.file or 'a scenario without a file'}{traced}. One loop, in manual, in "
             f"the simulated plant. Every number is in {name_of(test)}.json beside this page, with "
             "its record, in SI."]
    return web.page(test, system, sections(test), notes)
