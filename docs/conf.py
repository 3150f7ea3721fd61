"""Settings of the documentation. The pages under generated/ are written anew at each build, from the package itself."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

import generate  # noqa: E402 - found beside this file

import forestay  # noqa: E402

project = "Forestay"
author = "The Forestay developers"
copyright = author  # noqa: A001 - the name that Sphinx asks for
version = release = forestay.__version__

extensions = ["myst_parser", "sphinx.ext.doctest"]
source_suffix = {".md": "markdown"}
exclude_patterns = ["_build", "README.md"]
myst_enable_extensions = ["deflist"]
myst_heading_anchors = 3
nitpicky = True

html_theme = "alabaster"
html_title = "Forestay"
html_static_path = ["_static"]
html_css_files = ["forestay.css"]
html_copy_source = False
html_show_sphinx = False
html_theme_options = {
    "description": "From the facts of one eye to margins, a plan and its fallbacks",
    "page_width": "1180px",
    "body_max_width": "none",
    "sidebar_width": "14rem",
    "fixed_sidebar": True,
    "font_family": "system-ui, sans-serif",
    "head_font_family": "system-ui, sans-serif",
    "show_powered_by": False,
}

doctest_global_setup = ""
trim_doctest_flags = True


def setup(app: Any) -> None:
    """Write the generated pages before the sources are read."""
    app.connect("builder-inited", lambda _: generate.everything(HERE / "generated"))
