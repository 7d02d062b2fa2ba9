"""The folder of `simfan tune`: tune.json, tune.txt, tune.html, and the pictures in `tuning/`. What
another command wrote in the same folder is left as it is."""

from pathlib import Path

from simfan.loop_answer import LoopAnswer
from simfan.report import files, page, web
from simfan.report.tune_page import TUNE
from simfan.tuned import Tuned
from simfan.units import System


def write(folder: Path, answer: LoopAnswer, system: System) -> list[Path]:
    """Write everything; the paths written. RunError names the first file that failed."""
    written: list[Path] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        written.append(files.write_text(folder / "tune.json", files.as_json(Tuned(answer))))
        written.append(files.write_text(folder / "tune.txt", files.on_paper(answer, system, TUNE)))
        written.append(files.write_text(folder / "tune.html", on_page(answer, system)))
        for drawing in page.drawings(answer, system, TUNE):
            written += drawing.save(folder)
    except OSError as why:
        place = Path(why.filename) if why.filename else folder
        raise files.unwritable(place, why, written) from None
    return written


def on_page(answer: LoopAnswer, system: System) -> str:
    """The HTML page of an answer."""
    traced = f" (content {answer.fingerprint})" if answer.fingerprint else ""
    notes = [f"From {answer.file or 'a scenario without a file'}{traced}. Each strategy's loop "
             "over the range that is common to all. Every number is in tune.json beside this page, "
             "with more digits, in SI."]
    return web.page(answer, system, TUNE, notes)
