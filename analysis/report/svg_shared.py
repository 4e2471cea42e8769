"""What a figure says over and over, said once: styles, the data of equal lines, empty wrappers.

A page of four hours holds some hundred small cells, and each of them the same line three times.
"""

from __future__ import annotations

import re
from collections import Counter
from typing import Final

_WRAPPED: Final = re.compile(
    r'<g id="[^"]*">\s*(<(?:path|text|use)\b[^>]*?(?:/>|>[^<]*</text>))\s*</g>'
)
_STYLE: Final = re.compile(r' style="([^"]*)"')
_NO_TURN: Final = re.compile(r' transform="rotate\(-?0 [^"]*\)"')
_PLACE: Final = re.compile(r' ([xy])="(-?\d+\.\d)\d+"')
_LINE: Final = re.compile(r'<path d="([^"]*)"((?: class="[^"]*")?)/>')
_SHORT: Final = 40
"""Letters of a line from which on a reference to it is shorter than the line."""


def shared(body: str, name: str) -> str:
    """The same picture, shorter.  ``body``: inside of an ``svg`` element whose id is ``name``;
    styles become classes within that element, data that occur again become references.
    """
    body = _WRAPPED.sub(r"\1", body)
    body = _PLACE.sub(r' \1="\2"', _NO_TURN.sub("", body))
    body = re.sub(r">\s+<", "><", body)
    styles: dict[str, str] = {}

    def with_class(found: re.Match[str]) -> str:
        return f' class="{styles.setdefault(found[1], f"c{len(styles)}")}"'

    body = _STYLE.sub(with_class, body)
    rules = "".join(f"#{name} .{short}{{{rule}}}" for rule, short in styles.items())
    return f"<style>{rules.replace('; ', ';').replace(': ', ':')}</style>{_referred(body, name)}"


def _referred(body: str, name: str) -> str:
    """Lines whose data occur more than once are references to one that is not drawn itself."""
    counts = Counter(found[1] for found in _LINE.finditer(body) if len(found[1]) > _SHORT)
    ids = {
        data: f"{name}-{number}"
        for number, data in enumerate(data for data, count in counts.items() if count > 1)
    }
    defined = "".join(f'<path id="{own}" d="{data}"/>' for data, own in ids.items())

    def reference(found: re.Match[str]) -> str:
        data, of_class = found[1], found[2]
        return f'<use href="#{ids[data]}"{of_class}/>' if data in ids else found[0]

    return f"<defs>{defined}</defs>{_LINE.sub(reference, body)}"
