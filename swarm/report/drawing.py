"""Specifications drawn without a browser or a network, and the script that shows them in one; the door to vl_convert.

The wheel (BSD-3-Clause) carries the drawing library and a way to run it; nothing is fetched. Its script for pages is
put together once per installation, which takes a second, and kept beside the compiled kernels.
"""

from __future__ import annotations

import functools
import hashlib
import re
from importlib.metadata import version
from importlib.resources import files
from typing import Any

import font_lato
import vl_convert

from swarm.run.kernel_cache import user_cache
from swarm.run.writing import write_bytes_atomically

# Of slides: the same on every machine, whatever is installed there; the page takes the reader's own.
TYPEFACE = "Lato, Roboto, 'Helvetica Neue', Arial, sans-serif"
# Modules inside the wheel, by the names it gives them; pyproject.toml holds the wheel to one series. The library
# evaluates expressions by compiling them; the second module walks them instead, so that a page can forbid scripts to
# make scripts.
_MODULES = "https://cdn.jsdelivr.net/npm"
_INTERPRETER = "vega-interpreter@2.0.0"
_CLIP = re.compile(r"(?<=[\"#])clip\d+(?=[\")])")


@functools.cache
def _with_typeface() -> None:
    vl_convert.register_font_directory(font_lato.font_directory)


def svg_of(spec: dict[str, Any]) -> str:
    """A specification as SVG; raises ValueError where it cannot be drawn."""
    _with_typeface()
    drawn = vl_convert.vega_to_svg(spec, allowed_base_urls=[])
    # the library counts such names on from figure to figure: the same figure would differ by what was drawn before it
    numbers: dict[str, str] = {}
    return _CLIP.sub(lambda found: numbers.setdefault(found[0], f"clip{len(numbers)}"), drawn)


def png_of(svg: str, *, scale: float) -> bytes:
    """An SVG as PNG, `scale` pixels a unit."""
    _with_typeface()
    return vl_convert.svg_to_png(svg, scale=scale)


def _exports() -> str:
    return (
        f'import {{View, parse}} from "{_MODULES}/vega@{vl_convert.get_vega_version()}/+esm";'
        f'import {{expressionInterpreter}} from "{_MODULES}/{_INTERPRETER}/+esm";'
        "window.vega = {View, parse}; window.vegaInterpreter = expressionInterpreter;"
    )


def page_script() -> str:
    """The library for a page, with its licences: `window.vega` (View, parse) and `window.vegaInterpreter`."""
    asked = hashlib.sha256(f"{version('vl-convert-python')} {_exports()}".encode()).hexdigest()[:16]
    kept = user_cache() / f"page-script-{asked}.js"
    if not kept.exists():
        kept.parent.mkdir(parents=True, exist_ok=True)
        made = vl_convert.javascript_bundle(_exports())
        write_bytes_atomically(kept, made.encode())
    notice = files("swarm.report").joinpath("licences.txt").read_text(encoding="utf-8")
    return f"/*\n{notice}*/\n{kept.read_text(encoding='utf-8')}"
