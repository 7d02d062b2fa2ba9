"""A bound report set by typst (extra `pdf`): blocks become its code, every word a string in it."""

import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

from simfan import __version__
from simfan.report.bound_blocks import Block, Chapter, Grid, Heading, Picture, Points, Words
from simfan.report.ink import typeset

HEAD = """
#set document(title: {title}, date: none)
#set page(paper: "a4", flipped: true, margin: (x: 14mm, top: 17mm, bottom: 15mm),
  header: context {{ set text(7.5pt, fill: luma(90)); {title}; h(1fr); {origin} }},
  footer: context {{ set text(7.5pt, fill: luma(90)); {caution}; h(1fr);
    counter(page).display("1 / 1", both: true) }})
#set text(font: ("DejaVu Sans",), size: 9pt, lang: "en")
#set par(leading: 0.6em, spacing: 0.9em)
#set table(stroke: (x, y) => (bottom: if y == 0 {{ 0.8pt }} else {{ 0.3pt + luma(170) }}),
  inset: (x: 3.5pt, y: 2.6pt), align: top)
#show heading.where(level: 1): it => {{ set text(14pt); block(below: 0.7em, it.body) }}
#show heading.where(level: 2): it => {{ set text(10pt)
  block(above: 1.2em, below: 0.6em, it.body) }}
#show figure: set block(breakable: false)
#set figure(gap: 4pt)
"""
CAUTION = ("simfan {version}. A simulation: the maker's curve, local codes and licensed practice "
           "rule.")
NEW_PAGE = ("answer", "comparison", "maps", "over-time", "operating-map", "loops", "stress",
            "sheet-tuning", "assumed")
"""Chapters that begin a page; the others follow on."""
TALLEST_MM = 158
LONG = 44
"""Letters of a cell from which on its column takes what room there is."""
HALF_MM = 118


def pdf(title: str, origin: str, chapters: Sequence[Chapter]) -> bytes:
    """The document."""
    import matplotlib
    import typst

    fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    with TemporaryDirectory() as folder:
        source = Path(folder) / "report.typ"
        source.write_text(document(title, origin, chapters, Path(folder)), encoding="utf-8")
        made = typst.compile(str(source), root=folder, font_paths=[str(fonts)],
                             ignore_system_fonts=True)
    assert isinstance(made, bytes)
    return made


def document(title: str, origin: str, chapters: Sequence[Chapter], folder: Path) -> str:
    """The source; pictures are written into the folder."""
    head = HEAD.format(title=_word(title), origin=_word(origin),
                       caution=_word(CAUTION.format(version=__version__)))
    parts = [head, f"#text(17pt, weight: \"bold\", {_word(title)})\n"]
    number = 0
    for k, chapter in enumerate(chapters):
        if k and chapter.key in NEW_PAGE:
            parts.append("#pagebreak(weak: true)")
        if k:
            parts.append(f"#heading(level: 1, {_word(chapter.title)})")
        blocks = list(_paired(chapter.blocks))
        for block, after in zip(blocks, [*blocks[1:], None], strict=True):
            number += 1
            parts.append(_block(block, folder, number, isinstance(after, Grid)))
    return "\n".join(parts) + "\n"


Pair = tuple[Picture, Picture | None]


def _paired(blocks: Sequence[Block]) -> Iterator[Block | Pair]:
    """Half pictures two by two."""
    waiting: Picture | None = None
    for block in blocks:
        half = isinstance(block, Picture) and block.half
        if half and waiting is None:
            assert isinstance(block, Picture)
            waiting = block
        elif half and waiting is not None:
            assert isinstance(block, Picture)
            yield waiting, block
            waiting = None
        else:
            if waiting:
                yield waiting, None
                waiting = None
            yield block
    if waiting:
        yield waiting, None


def _block(block: Block | Pair, folder: Path, number: int, before_table: bool) -> str:
    if isinstance(block, tuple):
        cells = ", ".join(_picture(p, folder, f"{number}-{k}", "100%", HALF_MM)
                          for k, p in enumerate(block) if p)
        return f"#grid(columns: (1fr, 1fr), gutter: 8mm, {cells})"
    if isinstance(block, Words):
        size = ', 13pt, weight: "bold"' if block.lead else ", 7.5pt" if block.small else ""
        keeps = "true" if before_table else "false"
        return f"#block(sticky: {keeps}, par(text({_word(block.text)}{size})))"
    if isinstance(block, Heading):
        return f"#heading(level: 2, {_word(block.text)})"
    if isinstance(block, Points):
        return f"#list({', '.join(_text(i) for i in block.items)})"
    if isinstance(block, Picture):
        return f"#{_picture(block, folder, str(number), '100%', TALLEST_MM)}"
    return _table(block)


def _picture(block: Picture, folder: Path, number: str, width: str, tallest: float) -> str:
    name = f"picture-{number}.svg"
    (folder / name).write_bytes(block.drawing.svg())
    size = f', height: {tallest}mm, fit: "contain"' if _tall(block, tallest) else ""
    return (f"figure(caption: text(8pt, {_word(block.caption)}), supplement: none, "
            f'numbering: none, image("{name}", width: {width}{size}))')


def _tall(block: Picture, tallest: float) -> bool:
    """Whether the picture at full width would be taller than the page has room for."""
    return block.drawing.shape * (130.0 if block.half else 269.0) > tallest


def _table(block: Grid) -> str:
    across = max([len(block.head), *(len(row) for row in block.rows)])
    size = 6.3 if block.wide else 7.5 if across < 11 else 6.6
    head = f"table.header({', '.join(_text(h, bold=True) for h in block.head)}), " \
        if block.head else ""
    rows = ",\n".join(_row(row, across, block.wide or block.text) for row in block.rows)
    table = (f"#{{ set text({size}pt); set par(leading: 0.45em); "
             f"table(columns: {_columns(block, across)}, {head}\n{rows}) }}")
    above = (f"#block(sticky: true, text(7.5pt, fill: luma(70), {_word(block.caption)}))\n"
             if block.caption else "")
    return above + table


def _row(row: tuple[str, ...], across: int, left: bool) -> str:
    if len(row) == 1 and across > 1:
        return f"table.cell(colspan: {across}, {_text(row[0], bold=True)})"
    first, *others = row
    return ", ".join([_text(first), *((_text if left else _cell)(c) for c in others)])


def _cell(words: str) -> str:
    return f'table.cell(align: right, {_text(words, words.startswith("✗"))})'


def _columns(block: Grid, across: int) -> str:
    """Sentences share the width by their length, numbers take what they need."""
    if not block.wide:
        rows = [row for row in block.rows if len(row) > 1]
        longest: list[int] = [max((len(row[k]) for row in rows if len(row) > k), default=0)
                   for k in range(across)]
        return f"({', '.join('auto' if n < LONG else '1fr' for n in longest)},)"
    shares = []
    for k in range(across):
        cells = [row[k] for row in [block.head, *block.rows] if len(row) > k and len(row) > 1]
        word = max((len(w) for c in cells for w in re.split(r"[ \-/.]", c)), default=1)
        whole = max((len(c) for c in cells), default=1)
        shares.append(max(word + 1, min(whole, 12 + whole // 4), 3))
    return f"({', '.join(f'{share}fr' for share in shares)},)"


def _text(words: str, bold: bool = False) -> str:
    if bold:
        return f'text({_word(words)}, weight: "bold")'
    return f"[#{_word(words)}]"


def _word(words: str) -> str:
    """A string of typst's code: whatever stands in it is only words, also what is typed."""
    plain = typeset(words).replace("`", "").replace("\\", "\\\\").replace('"', '\\"')
    return '"' + re.sub(r"[\x00-\x1f]+", " ", plain) + '"'
