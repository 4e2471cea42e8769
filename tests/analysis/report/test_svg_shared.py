"""What a figure says over and over is said once, and drawn as often as before."""

from __future__ import annotations

import re

from analysis.report.svg_shared import shared

DATA = "M1 2l" + "3 4l5 6l" * 8 + "7 8"
TEXT = '<text style="fill: none; stroke: #111" x="1.23456" y="2" transform="rotate(-0 1 2)">'
BODY = f"""
  <g id="line2d_1">
   <path d="{DATA}" style="fill: none; stroke: #111"/>
  </g>
  <g id="line2d_2">
   <path d="{DATA}" style="fill: none; stroke: #222"/>
  </g>
  <g id="axes">
   <g id="text_1">
    {TEXT}a &lt; b</text>
   </g>
   <path d="{DATA}" clip-path="url(#c)" style="fill: none; stroke: #222"/>
   <path d="M0 0h9" style="fill: none; stroke: #222"/>
  </g>
"""


def test_equal_lines_refer_to_one_that_is_not_drawn_itself():
    """Each keeps its own look; a line that is clipped stays a line, as its clip is bound to it."""
    text = shared(BODY, "f")
    assert text.count(f'd="{DATA}"') == 2
    (own,) = re.findall(rf'<defs><path id="([^"]+)" d="{DATA}"/></defs>', text)
    assert re.findall(r'<use href="#([^"]+)" class="(c\d)"/>', text) == [(own, "c0"), (own, "c1")]
    assert f'<path d="{DATA}" clip-path="url(#c)" class="c1"/>' in text


def test_styles_become_classes_of_this_figure_alone():
    """Every class that is used has its rule, below the id of the figure, and none is left over."""
    text = shared(BODY, "f")
    rules = dict(re.findall(r"#f \.(c\d+)\{([^}]*)\}", text))
    assert set(rules) == set(re.findall(r'class="(c\d+)"', text))
    assert rules == {"c0": "fill:none;stroke:#111", "c1": "fill:none;stroke:#222"}
    assert "style=" not in text


def test_texts_keep_their_words_and_places():
    """Wrappers that hold one thing, turns by nothing and needless digits go; the words stay."""
    text = shared(BODY, "f")
    assert '<g id="axes"><text class="c0" x="1.2" y="2">a &lt; b</text>' in text
    assert "line2d" not in text
    assert "rotate" not in text
