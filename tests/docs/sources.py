"""The sources of the bibliography, and how the code names each of them."""

import re
from functools import cache

from tests.docs.blocks import ROOT

SOURCES = {
    "AMCA 210 and ISO 5801": r"AMCA 210|ISO 5801",
    "ASHRAE 825-RP": r"825-RP",
    "ASHRAE HVAC 2 Toolkit": r"HVAC 2 Toolkit",
    "Åström and Hägglund 2006": r"Åström",
    "Bayley and Hammersley 1946": r"Hammersley",
    "Brun, Reichert and Künsch 2001": r"Brun, Reichert",
    "Chandrupatla 1997": r"Chandrupatla",
    "Bristol 1966": r"Bristol",
    "CGPM 1901": r"CGPM",
    "Clopper and Pearson 1934": r"Clopper",
    "Donzé and Maler 2010": r"Donzé",
    "DIN 1343": r"DIN 1343",
    "fluids 1.3": r"`fluids` 1\.3",
    "Gasser and others 1986": r"Gasser",
    "Geyer 1992": r"Geyer",
    "Gelb and Vander Velde 1968": r"Gelb",
    "Gravdahl 1998": r"Gravdahl",
    "Greitzer 1976": r"Greitzer 1976",
    "IEC 60034-30-1": r"IEC 60034",
    "IEC 60255-149": r"IEC 60255",
    "ISA-18.2 and IEC 62682": r"ISA-18\.2",
    "ISA-5.1": r"ISA-5\.1",
    "ISO 13348": r"ISO 13348",
    "ISO 2533": r"ISO 2533",
    "ISO 8601": r"ISO 8601",
    "Ishigami and Homma 1990": r"Ishigami",
    "Lemmon and others 2000": r"CoolProp|Lemmon",
    "McMillan 2012": r"McMillan",
    "Moore and Greitzer 1985": r"Moore & Greitzer",
    "Moré and others 1980": r"Moré",
    "NEMA MG 1": r"NEMA MG 1",
    "Okabe and Ito 2008": r"Okabe",
    "OWASP": r"OWASP",
    "python-control": r"python-control",
    "Reyes-Lúa and others 2019": r"Reyes-Lúa",
    "rtamt": r"rtamt",
    "Skogestad 2003": r"Skogestad, J\. Process|Skogestad, Simple analytic",
    "State technical reference manuals": r"state (energy-efficiency )?technical reference manuals|"
                                         r"state\s+energy-efficiency technical",
    "Textbooks": r"[Tt]extbook",
    "Trade magazine": r"trade magazine",
    "Tsypkin 1984": r"Tsypkin",
    "University pages": r"[Uu]niversity",
    "US Department of Energy": r"Department of Energy|Department\s+of Energy",
    "Wilks 1941": r"Wilks",
    "Yard and pound 1959": r"international yard",
}
"""Heading on the page → what the code says."""

CITES = re.compile(
    r"\b(AMCA|ISO|IEC|NEMA|ASHRAE|DIN|NASA|CGPM|VDI|ASME|ANSI|NFPA|API)\b[ /-]?[A-Z]*[ -]?\d|"
    r"\b[A-Z]\w+ \(?(19|20)\d\d\b(?!-)|\((19|20)\d\d\)")
"""What looks like a citation: a standard with its number, a name with a year."""


@cache
def texts() -> dict[str, str]:
    """Every file of code whose words count, by its path."""
    files = [*(ROOT / "simfan").rglob("*.py"), *(ROOT / "tests" / "published").glob("test_*.py")]
    return {str(path.relative_to(ROOT)): path.read_text("utf-8") for path in sorted(files)}


def files_that_name(source: str) -> list[str]:
    """Files that name the source."""
    return [file for file, text in texts().items() if re.search(SOURCES[source], text)]


def unknown_citations() -> list[str]:
    """Lines that cite something which is not in the bibliography."""
    known = re.compile("|".join(SOURCES.values()))
    found = []
    for file, text in texts().items():
        lines = text.splitlines()
        found += [f"{file}:{n + 1}: {line.strip()}" for n, line in enumerate(lines)
                  if CITES.search(line) and not known.search(" ".join(lines[max(n - 1, 0):n + 2]))]
    return found
