"""The folder of an operating map: map.json, map.txt, map.html, and the pictures in
`operating-map/`. What a comparison wrote in the same folder is left as it is."""

from pathlib import Path

from simfan.overview import Overview
from simfan.report import files, page, web
from simfan.report.map_page import MAP
from simfan.report.sections import drawn_once
from simfan.units import System


def write(folder: Path, overview: Overview, system: System) -> list[Path]:
    """Write everything; the paths written. RunError names the first file that failed."""
    written: list[Path] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        written.append(files.write_text(folder / "map.json", files.as_json(overview)))
        written.append(files.write_text(folder / "map.txt",
                                        files.on_paper(overview, system, MAP)))
        with drawn_once():
            written.append(files.write_text(folder / "map.html", on_page(overview, system)))
            for drawing in page.drawings(overview, system, MAP):
                written += drawing.save(folder)
    except OSError as why:
        place = Path(why.filename) if why.filename else folder
        raise files.unwritable(place, why, written) from None
    return written


def on_page(overview: Overview, system: System) -> str:
    """The HTML page of a map."""
    note = overview.scenario
    traced = f" (content {note.fingerprint})" if note.fingerprint else ""
    notes = [f"From {note.file or 'a scenario without a file'}{traced}. Steady operating points of "
             "each strategy over its range. Every number is in map.json beside this page, with "
             "more digits, in SI and kWh."]
    return web.page(overview, system, MAP, notes)
