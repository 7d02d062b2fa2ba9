"""One HTML page of sections: a single file that opens without a network."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from simfan import __version__
from simfan.report import markup
from simfan.report.inline import figure
from simfan.report.page import Titled
from simfan.report.sections import Drawing, Fragment, Section
from simfan.units import System

TEMPLATE = "page.html.jinja"


@dataclass(frozen=True)
class Part:
    """A section that has something to say on this page."""

    key: str
    title: str
    body: Markup
    script: str


def page(answer: Titled, system: System, sections: Iterable[Section[Any]],
         notes: Sequence[str] = ()) -> str:  # fmt: skip
    """The page's text; `notes` stand under the title.

    The plotting library is part of it only where a section draws with it.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined

    shelf = Environment(loader=PackageLoader("simfan.report", ""), autoescape=True,
                        undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    found = list(parts(answer, system, sections))
    scripts = [_harmless(part.script) for part in found if part.script]
    return shelf.get_template(TEMPLATE).render(
        title=answer.title, notes=notes, parts=found, version=__version__, scripts=scripts,
        library=_library() if scripts else "",
    )  # fmt: skip


def parts(answer: Titled, system: System, sections: Iterable[Section[Any]]) -> Iterable[Part]:
    """The sections that have something to say, in order."""
    for section in sections:
        said = (section.html or _derived(section))(answer, system)
        if said is not None:
            yield Part(section.key, section.title, said.body, said.script)


def _derived(section: Section[Any]) -> Any:
    """A section's text and drawings as HTML."""

    def html(answer: Any, system: System) -> Fragment | None:
        text = section.text(answer, system)
        drawings = list(section.drawings(answer, system))
        if text is None and not drawings:
            return None
        words = markup.html(text) if text is not None else Markup("")
        return Fragment(words + Markup("").join(_pictures(drawings, section.title)))

    return html


def _pictures(drawings: Sequence[Drawing], title: str) -> Iterable[Markup]:
    """By what to see in them; else one alone by the section's title, several by their names."""
    alone = len(drawings) == 1 and title
    for drawing in drawings:
        name = title if alone else drawing.name.rpartition("/")[2].replace("-", " ")
        yield figure(drawing, drawing.seen or name, captioned=bool(drawing.seen) or not alone)


def _harmless(script: str) -> Markup:
    """A name in a string of the script cannot end the script's element."""
    return Markup(script.replace("</", "<\\/"))


def _library() -> Markup:
    """Bokeh's JavaScript from its wheel, without what draws tables, widgets and formulas."""
    from bokeh.resources import Resources

    return Markup("\n".join(Resources(mode="inline", components=["bokeh"]).js_raw))
