"""The pages say what the code says: parts made from it are current, every name is there."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from simfan import api
from simfan.cli import main
from simfan.signals import SIGNALS
from tests.docs.blocks import PAGES, ROOT, same
from tests.docs.generated import MADE, PART, renewed
from tests.docs.sources import SOURCES, files_that_name, texts, unknown_citations
from tests.published import page, record

DOCS = ROOT / "docs"
LINK = re.compile(r"\]\(([^)\s]+)\)")


def text(name: str) -> str:
    return (DOCS / name).read_text("utf-8")


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_parts_made_from_the_code_are_current(page: Path) -> None:
    """`python -m tests.docs` writes them anew."""
    kept = page.read_text("utf-8")
    lines = list(zip(renewed(kept).splitlines(), kept.splitlines(), strict=True))
    assert [b for a, b in lines if not same(a, b)] == []


def test_every_part_stands_on_a_page() -> None:
    found = {m["name"] for page in PAGES for m in PART.finditer(page.read_text("utf-8"))}
    assert found == {*MADE, "checks"}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_every_file_linked_or_named_exists(page: Path) -> None:
    kept = page.read_text("utf-8")
    for link in LINK.findall(kept):
        target = link.partition("#")[0]
        if target and not target.startswith(("http", "drawn/")):
            assert (page.parent / target).exists(), link
    for name in re.findall(r"`((?:docs|scenarios|tests|simfan)/[\w./-]+)`", kept):
        assert (ROOT / name).exists(), name


def headings(page: str) -> list[str]:
    return re.findall(r"^#+ (.+)$", text(page), re.M)


def test_every_source_is_in_the_bibliography_and_named_in_the_code() -> None:
    titles = headings("bibliography.md")
    sources = re.findall(r"^### (.+)$", text("bibliography.md"), re.M)
    assert sorted(sources) == sorted(SOURCES)
    assert len(titles) == len(set(titles))
    assert [source for source in SOURCES if not files_that_name(source)] == []


def test_the_code_cites_nothing_that_is_not_there() -> None:
    assert unknown_citations() == []
    assert len(texts()) > 50


def test_every_key_of_the_bibliography_resolves() -> None:
    titles = headings("bibliography.md")
    keys = {re.sub(r"[^\w -]", "", title.lower()).replace(" ", "-") for title in titles}
    keys |= set(re.findall(r"^\(([\w-]+)\)=$", text("bibliography.md"), re.M))
    used = [key for page in PAGES
            for key in re.findall(r"bibliography\.md#([\w.-]+)\)", page.read_text("utf-8"))]
    assert len(used) > 20
    assert [key for key in used if key not in keys] == []


def claims() -> Iterator[str]:
    """Every claim of tests/published."""
    for file in sorted((ROOT / "tests" / "published").glob("test_*.py")):
        for part in ast.parse(file.read_text("utf-8")).body:
            if isinstance(part, ast.FunctionDef) and part.name.startswith("test_"):
                yield record.sentence(part.name)


def test_the_validation_page_has_every_claim_and_no_other() -> None:
    """Its numbers are compared as each check runs, in tests/published/conftest.py."""
    shown = {key[0] for key in page.shown()} - {"Claim", "---"}
    assert shown == set(claims())


def test_every_recorded_signal_is_in_the_nomenclature() -> None:
    assert [name for name in SIGNALS if f"| `{name}` |" not in text("nomenclature.md")] == []


def keys(part: Any) -> Iterator[str]:
    """Every key of a JSON Schema's tables."""
    if isinstance(part, list):
        part = dict(enumerate(part))
    if not isinstance(part, dict):
        return
    for inner in part.values():
        yield from keys(inner)
    if isinstance(part.get("properties"), dict):
        yield from part["properties"]


def test_every_key_of_the_schema_is_named() -> None:
    schema = set(keys(api.schema()))
    assert len(schema) > 100
    assert [key for key in schema if f"`{key}`" not in text("scenario.md")] == []


def test_every_command_is_shown_with_its_help() -> None:
    for name in main.commands:
        assert f"$ simfan {name} --help" in text("commands.md")
