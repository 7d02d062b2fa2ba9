"""The site: `python -m sphinx -W -b html docs out/site`."""

import sys
from pathlib import Path

from pygments.lexers.special import TextLexer
from sphinx.highlighting import lexers

from simfan import __version__

sys.path.insert(0, str(Path(__file__).parent / "extensions"))

lexers["csv"] = TextLexer()

project = "simfan"
copyright = "the simfan authors"
version = release = __version__
extensions = ["myst_parser", "sphinx.ext.autodoc", "mathml", "pictures", "plain_docstrings"]
myst_enable_extensions = ["dollarmath", "amsmath", "deflist"]
myst_heading_anchors = 4
exclude_patterns = ["examples"]
html_math_renderer = "mathml"
html_theme = "furo"
html_title = "simfan"
html_static_path = ["static"]
html_css_files = ["site.css"]
toc_object_entries = False
html_copy_source = False
html_show_sphinx = False
autodoc_member_order = "bysource"
autodoc_typehints = "signature"
autodoc_class_signature = "separated"
autodoc_typehints_format = "short"
default_role = "code"
suppress_warnings = ["ref.python"]  # a word of a Literal such as "pressure" is no class
