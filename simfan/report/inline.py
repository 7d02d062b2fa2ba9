"""A drawing inside an HTML page: SVG, without the names and digits that a page does not need."""

import re
from zlib import crc32

from markupsafe import Markup

from simfan.report.markup import words
from simfan.report.sections import Drawing

DIGITS = 2
"""Of coordinates [points]: a hundredth of a point is far below what is seen."""
_REFERENCE = re.compile(r'(href="|url\()#([^")]+)')
_PLACES = re.compile(r' d="[^"]*"|translate\([^)]*\)| [xy]="[^"]*"')


def figure(drawing: Drawing, label: str, captioned: bool = True) -> Markup:
    """The drawing; its label stands above it, and names it for those who cannot see it."""
    picture = drawn(drawing, label)
    head = Markup("<figcaption>{}</figcaption>").format(words(label)) if captioned else Markup("")
    return Markup("<figure>{}{}</figure>").format(head, picture)


def drawn(drawing: Drawing, label: str) -> Markup:
    """The picture alone; its label names it for those who cannot see it."""
    return Markup(_svg(drawing.svg().decode(), drawing.name, label))


def _svg(text: str, name: str, label: str) -> str:
    """Only the picture, scaled to its place; ids are its own among others of the page."""
    head = str(Markup('<svg role="img" aria-label="{}"').format(label))
    text = head + text[text.index("<svg") + len("<svg") :]
    text = re.sub(r'(<svg[^>]*?) width="[^"]*"', r"\1", text, count=1)
    text = re.sub(r'(<svg[^>]*?) height="[^"]*"', r"\1", text, count=1)
    text = re.sub(r"<metadata>.*?</metadata>|<!--.*?-->", "", text, flags=re.S)
    text = re.sub(r">\s+<", "><", text.replace("xlink:href", "href"))
    text = _PLACES.sub(lambda found: _rounded(found[0]), text)
    return _own_ids(text, f"{crc32(name.encode()):x}")


def _own_ids(text: str, prefix: str) -> str:
    """Ids that something refers to, under names of this picture's own; the others go."""
    used = dict.fromkeys(_REFERENCE.findall(text))
    short = {target: f"{prefix}-{k}" for k, (_, target) in enumerate(used)}
    text = re.sub(r' id="([^"]+)"',
                  lambda m: f' id="{short[m[1]]}"' if m[1] in short else "", text)
    return _REFERENCE.sub(lambda m: f"{m[1]}#{short[m[2]]}", text)


def _rounded(places: str) -> str:
    short = re.sub(r"-?\d+\.\d+", lambda n: f"{float(n[0]):.{DIGITS}f}".rstrip("0").rstrip("."),
                   places)  # fmt: skip
    return re.sub(r"\s+", " ", short)
