"""What all pictures share: colours, heading, axes, and files that are the same for the same data.

Everything in a picture is told apart by shape, dash and hatching as well as by colour, so that it reads in black and
white and to colour-blind eyes. The colours are those of Okabe and Ito, "Color Universal Design" (2008), chosen to stay
apart for all of them.
"""

from __future__ import annotations

import io
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from wakerail.report.traces import Floats

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

BLUE, VERMILION, GREEN, INK, GREY, PALE = "#0072B2", "#D55E00", "#007A5A", "#1A1A1A", "#767676", "#DADADA"

_DARK_VERMILION = "#B04B00"


def text_colour(colour: str) -> str:
    """Return a colour in which text on white is read well (contrast 4.5 and more); vermilion is too light for it."""
    return _DARK_VERMILION if colour == VERMILION else colour


def check_suffix(out: Path) -> None:
    """Raise ValueError unless a file is one that pictures are drawn as."""
    if out.suffix not in {".svg", ".png"}:
        raise ValueError(f"{out.name}: a picture is drawn as .svg or .png")


def save(figure: Figure, out: Path) -> None:
    """Write a picture; the same one gives the same file, byte for byte."""
    out.write_bytes(rendered(figure, out.suffix[1:]))


def rendered(figure: Figure, form: str, dpi: float | None = None) -> bytes:
    """Return a picture as the bytes of an ``svg`` or ``png`` file; the same one gives the same bytes."""
    import matplotlib as mpl  # noqa: PLC0415

    metadata = {"Date": None, "Creator": "Wakerail"} if form == "svg" else {"Software": "Wakerail"}
    settings: dict[Any, Any] = {
        "svg.hashsalt": "wakerail",
        "svg.fonttype": "none",
        "path.simplify": False,
        "hatch.linewidth": 0.5,
    }
    file = io.BytesIO()
    with mpl.rc_context(settings):
        figure.savefig(file, format=form, metadata=metadata, dpi=dpi or figure.dpi)
    return file.getvalue()


def time_unit(times: Floats) -> tuple[float, str]:
    """Return the unit in which to show some seconds, as the factor to it and its name."""
    length_s = float(np.nanmax(times) - np.nanmin(times)) if times.size else 0.0
    if length_s > 3 * 3600:
        return 1 / 3600, "h"
    if length_s > 10 * 60:
        return 1 / 60, "min"
    return (1.0, "s") if length_s > 1 else (1e3, "ms")


def draw_heading(figure: Figure, title: str, subtitle: str) -> float:
    """Write title and subtitle; return the height that is left below, as a share of the figure."""
    lines = textwrap.wrap(subtitle, 118, max_lines=4, placeholder=" ...")
    figure.text(0.08, 0.965, title, size=14, weight="bold", color=INK, va="top")
    figure.text(0.08, 0.905, "\n".join(lines), size=10, color=INK, va="top", linespacing=1.35)
    return 0.895 - 0.04 * len(lines)


def plain_axes(axes: Axes) -> None:
    """Give axes their plain look: a pale grid, and no box around them."""
    axes.grid(visible=True, color="#E3E3E3", linewidth=0.6)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(GREY)
    axes.tick_params(colors=INK, labelsize=9)


def width_of(axes: Axes) -> float:
    """Return the width of the sheet that axes are on, in inches."""
    return float(axes.figure.bbox.width / axes.figure.dpi)
