"""A chart's SVG file as a part of a page, with a title and a description, and nothing that clashes or leads outside."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

_SVG, _XLINK = "{http://www.w3.org/2000/svg}", "{http://www.w3.org/1999/xlink}"
_REFERENCE = re.compile(r"url\(#([^)]+)\)")


def inline_svg(svg: bytes, *, name: str, title: str, says: str) -> str:
    """Return a chart to stand in HTML. ``name`` begins all of its identities, so that charts do not mix theirs.

    It has no namespaces, which HTML does not need, no metadata, and no style that would reach the page around it.
    """
    root = ET.fromstring(svg)  # noqa: S314  it was drawn a moment ago, by ourselves
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag in {f"{_SVG}metadata", f"{_SVG}style"}:
                parent.remove(child)
    for element in root.iter():
        element.tag = element.tag.removeprefix(_SVG)
        element.attrib = dict(_renamed(element.attrib, name))
    told = {"title": (f"{name}-title", title), "desc": (f"{name}-desc", says)}
    for place, (tag, (identity, text)) in enumerate(told.items()):
        child = ET.Element(tag, {"id": identity})
        child.text = text
        root.insert(place, child)
    box = root.get("viewBox", "")
    root.attrib = {
        "role": "img",
        "aria-labelledby": " ".join(identity for identity, _ in told.values()),
        "viewBox": box,
        "style": "stroke-linejoin: round; stroke-linecap: butt",
    }
    return ET.tostring(root, encoding="unicode", short_empty_elements=False)


def _renamed(attributes: dict[str, str], name: str) -> list[tuple[str, str]]:
    """Return attributes with their identities and references led by a name."""
    renamed = []
    for key, value in attributes.items():
        plain = key.removeprefix(_XLINK)
        if plain == "id":
            renamed.append((plain, f"{name}-{value}"))
        elif plain == "href":
            renamed.append((plain, f"#{name}-{value.removeprefix('#')}"))
        else:
            renamed.append((plain, _REFERENCE.sub(rf"url(#{name}-\1)", value)))
    return renamed
