"""The folder of `simfan stress`: stress.json, stress.txt, stress.html, and the pictures in
`stress/`. The runs and the counterexamples stand there already; what another command wrote is left
as it is."""

from pathlib import Path

from simfan.report import files, page, web
from simfan.report.stress_page import STRESS
from simfan.stress_answer import StressAnswer
from simfan.stressed import Stressed
from simfan.units import System


def write(folder: Path, answer: StressAnswer, system: System) -> list[Path]:
    """Write everything; the paths written. RunError names the first file that failed."""
    written: list[Path] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, words in (("stress.json", files.as_json(Stressed(answer))),
                            ("stress.txt", files.on_paper(answer, system, STRESS)),
                            ("stress.html", on_page(answer, system))):
            written.append(files.write_text(folder / name, words))
        for drawing in page.drawings(answer, system, STRESS):
            written += drawing.save(folder)
    except OSError as why:
        place = Path(why.filename) if why.filename else folder
        raise files.unwritable(place, why, written) from None
    return written


def on_page(answer: StressAnswer, system: System) -> str:
    """The HTML page of an answer."""
    traced = f" (content {answer.fingerprint})" if answer.fingerprint else ""
    notes = [f"From {answer.file or 'a scenario without a file'}{traced}. One strategy, many runs. "
             "Every number is in stress.json beside this page, with more digits, in SI."]
    return web.page(answer, system, STRESS, notes)
