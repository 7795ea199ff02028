"""How every chart looks, and how a chart becomes an SVG that stands inside a page.

Colours start from the eight of Wong (2011), Points of view: Color blindness, Nature Methods 8:441. No meaning
hangs on colour alone: series differ in pattern, dash or shape as well, and carry labels.
"""

from __future__ import annotations

import datetime as dt
import re
import xml.etree.ElementTree as ET
from typing import Any

import altair as alt
import vl_convert

ORANGE, SKY, GREEN, BLUE, VERMILLION = "#E69F00", "#56B4E9", "#009E73", "#0072B2", "#D55E00"
PALE, INK, GREY, GRID = "#E4E9E2", "#1D2B26", "#5B6761", "#DDE2DB"

WIDTH = 440
"""Design width in pixels. A phone shows it at about 340, so 15 px letters are read at 11.6."""
LARGEST_SCALE = 1.25
LETTERS = 15
FONT = "Liberation Sans, Arial, Helvetica, sans-serif"
"""Fonts of one width on all common systems: the labels were measured with the first."""

SEPARATOR = "\n"
"""Parts the lines of a row label."""
NOT_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")
"""Characters that XML 1.0 cannot hold (section 2.2); one of them in a label ends the drawing process."""

LINES = r"split(datum.value, '\n')"
PERCENT = "round(datum.value * 1000) / 10 + ' %'"
FIT = alt.AutoSizeParams(type="fit-x", contains="padding")

AnyChart = alt.Chart | alt.LayerChart | alt.FacetChart

_TEXT = {"labelFontSize": LETTERS, "titleFontSize": LETTERS, "labelColor": INK, "titleColor": INK, "title": None}
LOOK: dict[str, Any] = {
    "aria": False,
    "font": FONT,
    "view": {"stroke": None},
    "axis": _TEXT
    | {
        "titleFontWeight": "normal",
        "gridColor": GRID,
        "domain": False,
        "ticks": False,
        "labelPadding": 6,
        "labelLimit": 190,
    },
    "header": _TEXT | {"labelFontWeight": "bold", "labelAnchor": "start"},
    "legend": _TEXT | {"titleFontWeight": "normal", "symbolSize": 180, "labelLimit": 400},
}
"""Letters, axes and ground that all charts share. The marks' own names for screen readers are left out: there
are hundreds, and the picture carries one name and has its table."""

SVG = "http://www.w3.org/2000/svg"
DEAD_ATTRIBUTES = (
    "class",
    "role",
    "aria-label",
    "aria-hidden",
    "aria-roledescription",
    "pointer-events",
    "font-family",
)

PATTERNS: dict[str, str] = {
    VERMILLION: '<path d="M-2,2l4,-4M0,8l8,-8M6,10l4,-4" stroke="#1D2B26" stroke-width="1.6"/>',
    ORANGE: '<circle cx="2" cy="2" r="1.3" fill="#1D2B26"/><circle cx="6" cy="6" r="1.3" fill="#1D2B26"/>',
    SKY: '<path d="M0,2h8M0,6h8" stroke="#1D2B26" stroke-width="1"/>',
}
"""Hatching laid over a fill of this colour, on 8 by 8 pixels."""


def data(rows: list[dict[str, Any]]) -> alt.InlineData:
    """Rows as inline data."""
    return alt.InlineData(values=rows)


def iso(value: dt.date | None, hours: float = 0) -> str | None:
    """A moment for a time axis, in universal time.

    Local time would show the day before its own, west of Greenwich.
    """
    if value is None:
        return None
    midnight = dt.datetime(value.year, value.month, value.day, tzinfo=dt.UTC)
    return (midnight + dt.timedelta(hours=hours)).isoformat()


def utc_axis(form: str, **more: Any) -> alt.Axis:
    """A time axis with few labels, none over another."""
    return alt.Axis(format=form, labelOverlap=True, labelSeparation=8, **more)


def named_rows(field: str, order: list[str]) -> alt.Y:
    """Rows that carry names, each on one or two lines parted by :data:`SEPARATOR`, in the order given."""
    up = -8 if any(SEPARATOR in name for name in order) else 0
    axis = alt.Axis(title=None, labelExpr=LINES, grid=False, labelLineHeight=LETTERS + 3, labelOffset=up)
    return alt.Y(f"{field}:N", sort=order, axis=axis)


def labels(chart: alt.Chart, **text: Any) -> tuple[alt.Chart, alt.Chart]:
    """Text marks with a light rim below them, so that they are read over lines and hatching."""
    rim = chart.mark_text(fontSize=LETTERS, stroke="white", strokeWidth=4, strokeJoin="round", **text)
    return rim, chart.mark_text(fontSize=LETTERS, color=INK, **text)


def panels(
    layers: alt.LayerChart | alt.FacetChart,
    rows: list[dict[str, Any]],
    by: str,
    order: list[str],
    columns: int,
    *,
    own_widths: bool = False,
) -> alt.FacetChart:
    """One small picture per value of ``by``, in the order given.

    Each has its own vertical scale, and its own horizontal one where ``own_widths`` is set.
    """
    return alt.FacetChart(
        data=data(rows),
        spec=layers,
        facet=alt.Facet(f"{by}:N", sort=order, title=None),
        columns=columns,
        spacing=18,
        align="all",
        resolve=alt.Resolve(
            scale=alt.ScaleResolveMap(y="independent", x="independent" if own_widths else "shared"),
            axis=alt.AxisResolveMap(x="independent"),
        ),
    )


def to_svg(chart: AnyChart, name: str, slug: str) -> str:
    """A static SVG of the chart, ready to stand inside a page.

    Args:
        chart: what to draw.
        name: what the picture is, for those who do not see it.
        slug: prefix of every id inside, so that several charts share one page.

    The drawing library leaves neither a role nor a name on the root, and numbers its clip paths from 0 in
    every chart; both are mended here. Marks that paint nothing are dropped.
    """
    # checking against the schema takes longer than drawing; the tests check every chart
    specification = chart.to_dict(validate=False) | {"config": LOOK, "background": "transparent", "padding": 4}
    picture = vl_convert.vegalite_to_svg(_writable(specification))
    ET.register_namespace("", SVG)
    # our own renderer wrote it a line above, and it holds no document type
    root = ET.fromstring(picture)  # noqa: S314
    _trim(root)
    _hatch(root)
    _own_ids(root, slug)
    root.set("role", "img")
    root.set("aria-label", name)
    root.set("font-family", FONT)
    # a picture of few panels would else be blown up to the width of the page
    width, height = float(root.attrib["width"]), float(root.attrib["height"])
    # with its shape known a page can leave a picture undrawn until it comes into sight
    root.set("style", f"max-width:{width * LARGEST_SCALE:.0f}px;aspect-ratio:{width:g}/{height:g}")
    return ET.tostring(root, encoding="unicode")


def _writable(part: Any) -> Any:
    """The specification with a replacement mark for every character that XML cannot hold."""
    if isinstance(part, str):
        return NOT_XML.sub("\ufffd", part)
    if isinstance(part, dict):
        return {_writable(key): _writable(value) for key, value in part.items()}
    return [_writable(value) for value in part] if isinstance(part, list) else part


def _paints_nothing(element: ET.Element) -> bool:
    if element.get("display") == "none" or element.get("opacity") == "0":
        return True
    bare = element.tag == f"{{{SVG}}}path" and element.get("fill") is None and element.get("stroke") is None
    return bare and len(element) == 0


def _trim(element: ET.Element) -> None:
    """Drops invisible marks and attributes that the root's role makes void."""
    inside_clip = element.tag == f"{{{SVG}}}clipPath"
    for child in list(element):
        if _paints_nothing(child) and not inside_clip:
            element.remove(child)
        else:
            _trim(child)
    for attribute in DEAD_ATTRIBUTES:
        element.attrib.pop(attribute, None)
    for attribute in ("transform", "d", "x", "y", "x2", "y2"):
        if attribute in element.attrib:
            element.set(attribute, _rounded(element.attrib[attribute]))


def _rounded(numbers: str) -> str:
    """Coordinates to a tenth of a pixel: finer is not seen, and doubles the page."""
    return re.sub(r"-?\d+\.\d{2,}", lambda match: f"{float(match[0]):.1f}".removesuffix(".0"), numbers)


def _hatch(root: ET.Element) -> None:
    """Lays the hatching of :data:`PATTERNS` over every fill of its colour."""
    used = {}
    for element in root.iter():
        fill = (element.get("fill") or "").upper()
        if fill in PATTERNS:
            used[fill] = f"hatch{fill[1:]}"
            element.set("fill", f"url(#{used[fill]})")
    if not used:
        return
    definitions = ET.Element(f"{{{SVG}}}defs")
    for fill, name in used.items():
        pattern = f'<pattern xmlns="{SVG}" id="{name}" width="8" height="8" patternUnits="userSpaceOnUse">'
        ground = f'<rect width="8" height="8" fill="{fill}"/>'
        definitions.append(ET.fromstring(f"{pattern}{ground}{PATTERNS[fill]}</pattern>"))  # noqa: S314
    root.insert(0, definitions)


def _own_ids(root: ET.Element, slug: str) -> None:
    for element in root.iter():
        if "id" in element.attrib:
            element.set("id", f"{slug}-{element.attrib['id']}")
        for attribute in ("fill", "stroke", "clip-path"):
            if element.get(attribute, "").startswith("url(#"):
                element.set(attribute, element.attrib[attribute].replace("url(#", f"url(#{slug}-"))
