"""A page on which a browser lays others out at several widths and says what it sees.

They run in frames of these widths, untouched; a script beside them measures them.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")

CONTROL = "control: this line is expected"
"""An error that the measuring page makes on purpose: without it the console was not heard."""

_MEASURE = """
<!DOCTYPE html><meta charset="utf-8"><title>measuring</title><body><script>
const pages = PAGES, widths = WIDTHS;
function seen(frame, width) {
  const doc = frame.contentDocument, root = doc.documentElement, found = {width};
  found.scroll_width = root.scrollWidth;
  found.wide = [...doc.querySelectorAll('body *')]
    .filter(e => !e.closest('.scroll') && !e.closest('svg'))
    .filter(e => e.getBoundingClientRect().right > width + 1)
    .map(e => e.tagName + '.' + e.className);
  found.hidden = [...doc.querySelectorAll('.scroll')]
    .filter(e => e.scrollWidth > e.clientWidth + 1)
    .map(e => e.getAttribute('aria-labelledby'));
  found.outside = [...doc.querySelectorAll('td, th, dt, dd')].filter(e => {
    const box = e.getBoundingClientRect(), words = doc.createRange();
    words.selectNodeContents(e);
    const held = words.getBoundingClientRect();
    return box.width > 1 && held.width && !e.closest('thead') &&
      (held.right > box.right + 1 || held.left < box.left - 1);
  }).map(e => e.textContent.trim());
  found.cut = [], found.overlap = [], found.pictures = [];
  for (const svg of doc.querySelectorAll('svg')) {
    const box = svg.getBoundingClientRect();
    if (!box.width) continue;
    found.pictures.push(svg.querySelector('title').textContent);
    const words = [...svg.querySelectorAll('text')].filter(t => t.textContent.trim())
      .map(t => [t.textContent, t.getBoundingClientRect()]);
    for (const [text, r] of words)
      if (r.left < box.left - 1 || r.right > box.right + 1 || r.top < box.top - 1 ||
          r.bottom > box.bottom + 1) found.cut.push(text);
    for (let i = 0; i < words.length; i++) for (let j = i + 1; j < words.length; j++) {
      const [a, r] = words[i], [b, s] = words[j];
      const across = Math.min(r.right, s.right) - Math.max(r.left, s.left);
      const down = Math.min(r.bottom, s.bottom) - Math.max(r.top, s.top);
      const small = Math.min(r.height, s.height, r.width, s.width);
      if (across > 0.25 * small && down > 0.35 * small) found.overlap.push(a + ' | ' + b);
    }
  }
  found.small = [...doc.querySelectorAll('svg text')].map(
    t => {
      const m = t.getScreenCTM(), shown = t.closest('svg').getBoundingClientRect().width;
      return shown ? parseFloat(getComputedStyle(t).fontSize) * Math.hypot(m.a, m.b) : 0;
    }).filter(size => size > 0).reduce((a, b) => Math.min(a, b), 99);
  return found;
}
const results = pages.map(() => []);
let waiting = pages.length * widths.length;
console.error('CONTROL');
for (const [which, page] of pages.entries()) for (const width of widths) {
  const frame = document.createElement('iframe');
  frame.style = `width:${width}px;height:2000px;border:0`;
  frame.onload = () => {
    results[which].push(seen(frame, width));
    if (!--waiting) {
      document.body.replaceChildren();
      const pre = document.createElement('pre');
      pre.textContent = JSON.stringify(results);
      document.body.append(pre);
    }
  };
  frame.srcdoc = page;
  document.body.append(frame);
}
</script>
"""


def browser() -> str | None:
    """Path of a Chromium, if there is one."""
    return next((path for name in NAMES if (path := shutil.which(name))), None)


QUIET = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


WINDOW = "--window-size=1600,2200"
"""Wide enough for the frames, and as high."""


def measuring_page(pages: list[str], widths: list[int], folder: Path) -> Path:
    """A page that has a ``pre`` element once it has measured these, each at each width (CSS
    pixels): in it, as JSON, what is seen of each page, a list by width in any order.
    """
    script = _MEASURE.replace("WIDTHS", json.dumps(widths)).replace("CONTROL", CONTROL)
    # "</" would end the script before the page's own end.
    script = script.replace("PAGES", json.dumps(pages).replace("</", "<\\/"))
    path = folder / "measure.html"
    path.write_text(script, encoding="utf-8")
    return path
