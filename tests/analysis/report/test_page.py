"""The page as a document: whole, self-contained, named for screen readers, true to the JSON."""

from __future__ import annotations

import json
import re
import time
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from analysis.report.figures import FIGURES
from analysis.report.words import INVENTED, INVENTED_LONG
from live import __main__ as entry
from replay.demo_files import demo_captures
from replay.plan import Plan, PlannedSensor
from tests.standins.demo_reports import demo_report
from tests.standins.feeds import two_sensors, written
from tests.standins.small_pictures import one_figure, without_figures

VOID = {"meta", "br", "hr", "img", "link", "input"}


class Document(HTMLParser):
    """Reads a page strictly: every element closed in its turn.  Keeps elements with their text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[dict] = []
        self.elements: list[dict] = []
        self.faults: list[str] = []
        self.feed(text)
        self.close()
        self.faults += [f"{one['tag']} is not closed" for one in self.open]

    def handle_starttag(self, tag, attrs):
        element = {"tag": tag, "text": "", **dict(attrs), "inside": [e["tag"] for e in self.open]}
        element["parents"] = list(self.open)
        self.elements.append(element)
        if tag not in VOID:
            self.open.append(element)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        if not self.open or self.open[-1]["tag"] != tag:
            self.faults.append(f"{tag} closed at {self.getpos()}")
        else:
            self.open.pop()

    def handle_data(self, data):
        for element in self.open:
            element["text"] += data

    def all(self, tag):
        return [element for element in self.elements if element["tag"] == tag]


def reported(capsys, file, folder):
    """The page of a capture, and what ``--json`` says."""
    out = folder / "page.html"
    assert entry.main(["report", str(file), "--out", str(out), "--no-figures", "--json"]) == 0
    return out.read_text(encoding="utf-8"), json.loads(capsys.readouterr().out)


@pytest.fixture(scope="module", params=demo_captures(), ids=lambda path: path.stem[16:20])
def told(request):
    """Page, document and facts of each demo capture."""
    report = demo_report(request.param)
    return report.page, Document(report.page), report.facts


def test_the_document_is_whole(told):
    """Every element is closed in its turn, every id is there once, every reference leads to one."""
    text, document, _ = told
    assert document.faults == []
    ids = [e["id"] for e in document.elements if e.get("id")]
    assert len(ids) == len(set(ids))
    named = {name for e in document.elements for name in (e.get("aria-labelledby") or "").split()}
    used = {e["href"][1:] for e in document.elements if e.get("href")}
    used |= set(re.findall(r"url\(#([^)]+)\)", text))
    assert (named | used) - set(ids) == set()


def test_nothing_is_loaded_from_elsewhere(told):
    """The page names no address to load from, runs no script, and forbids itself both."""
    text, document, _ = told
    assert set(re.findall(r"https?://[^\s\"'<)]+", text)) <= {
        "http://www.w3.org/2000/svg",
        "http://www.w3.org/1999/xlink",
    }
    assert [e for e in document.elements if e["tag"] in {"script", "link", "iframe"}] == []
    sources = [e.get("src") or e.get("href") or "#" for e in document.elements]
    assert [source for source in sources if not source.startswith("#")] == []
    policy = next(e["content"] for e in document.all("meta") if e.get("http-equiv"))
    assert "default-src 'none'" in policy


def test_everything_has_a_name(told):
    """Figures have title and description, tables a caption and scoped heads; headings descend."""
    _, document, _ = told
    assert document.all("html")[0]["lang"] == "en"
    pictures = [e for e in document.all("svg") if e.get("role") == "img"]
    assert len(pictures) == len(document.all("svg")) == 2 * len(FIGURES)
    by_id = {e["id"]: e for e in document.elements if e.get("id")}
    for picture in pictures:
        title, description = (by_id[name] for name in picture["aria-labelledby"].split())
        assert (title["tag"], description["tag"]) == ("title", "desc")
        assert title["text"]
        assert len(description["text"]) > len(title["text"])
    captions = [e["text"].strip() for e in document.all("caption")]
    assert len(captions) == len(document.all("table"))
    assert all(captions)
    assert all(e.get("scope") for e in document.all("th"))
    levels = [int(e["tag"][1]) for e in document.elements if re.fullmatch("h[1-6]", e["tag"])]
    assert levels[0] == 1
    assert levels.count(1) == 1
    steps = [b - a for a, b in pairwise(levels)]
    assert max(steps) <= 1


def value_at(facts, path):
    for step in path.split("/"):
        facts = facts[int(step)] if isinstance(facts, list) else facts[step]
    return facts


def interval_at(facts, path):
    parent, _, name = path.rpartition("/")
    return value_at(facts, parent).get(f"{name}_interval")


def read(text):
    return float(text.replace("\u2212", "-").replace("\u202f", ""))


def written_for(text, value, half, share):
    """Whether a text is the value, rounded; a share that is not quite all is written as 99.9."""
    if share and (0 < value < half or 100 - half <= value < 100):
        return text == ("0.1" if value < 50 else "99.9")
    return abs(read(text) - value) <= half


def test_every_number_is_that_of_the_json(told):
    """Each number of the tables, and each interval beside it, is the JSON's, rounded as stated."""
    _, document, facts = told
    cells = [e for e in document.all("td") if e.get("data-fact")]
    assert len(cells) > 150
    for one in cells:
        value = value_at(facts, one["data-fact"])
        number, _, brackets = one["text"].strip().partition(" (")
        if value is None:
            assert number == "\u2013"
            continue
        share = one["data-form"].endswith("%")
        half = 0.5 * 10 ** -int(one["data-form"].strip("+%")) * (1 + 1e-9)
        assert written_for(number, value, half, share), one["data-fact"]
        if not brackets:
            continue
        ends = interval_at(facts, one["data-fact"])
        if ends is None:
            assert brackets == "no interval)"
        elif brackets == "too wide to say)":
            assert ends[1] - ends[0] > abs(value), one["data-fact"]
        else:
            shown = brackets.rstrip(")").split(" to ")
            assert [written_for(*both, half, share) for both in zip(shown, ends, strict=True)] == [
                True, True,
            ]  # fmt: skip


def test_the_page_has_the_verdict_of_the_json(told):
    """The sentences at the top and of each sensor are those of the JSON, in its order."""
    _, document, facts = told
    lists = [e for e in document.all("ul") if e.get("class") == "verdict"]
    shown = [e["text"] for e in document.all("li") if lists[0] in e["parents"]]
    assert shown == facts["verdict"]
    assert len(shown) in (4, 5)
    paragraphs = [e["text"] for e in document.all("p")]
    assert [s["verdict"] in paragraphs for s in facts["sensors"]] == [True] * len(facts["sensors"])


def test_the_first_line_says_what_to_remember(told):
    """Under the heading one line names every sensor's share and its interval, best first, as the
    table below has them; and no sentence of the page says from whose memory something is.
    """
    text, document, facts = told
    first = next(e["text"] for e in document.all("p") if e.get("class") == "first")
    shares = []
    for sensor in facts["sensors"]:
        label = sensor["label"]
        found = re.search(rf"{label} (?:agreed with Yarrow )?in ([\d.]+)\u00a0%", first)
        shares.append((first.index(label), -float(found.group(1))))
    assert [share for _, share in sorted(shares)] == sorted(share for _, share in shares)
    assert first.count(" to ") == len(facts["sensors"])
    for words in ("from memory", "second hand"):
        assert words not in text


@pytest.mark.parametrize(
    ("zone", "words"),
    [
        ("Europe/Vienna", "06:15 UTC; 07:15 local time where this page was made (UTC+01:00)"),
        ("America/St_Johns", "06:15 UTC; 02:45 local time where this page was made (UTC−03:30)"),
        ("Etc/UTC", "06:15 UTC; that is local time where this page was made"),
    ],
)
def test_local_time_stands_beside_utc(zone, words, tmp_path, capsys, monkeypatch):
    """The start is given in UTC and in local time, with whose zone that is."""
    monkeypatch.setenv("TZ", zone)
    time.tzset()
    try:
        with without_figures():
            text, _ = reported(capsys, written(tmp_path / "a.sqlite", two_sensors(60)), tmp_path)
    finally:
        monkeypatch.undo()
        time.tzset()
    assert words in text


def test_a_page_opens_at_once():
    """Paths are thinned to what shows and looks are said once: 22 min 30 s of four sensors make a
    page below 0.5 MB and 5300 elements.
    """
    page = demo_report(demo_captures()[0]).page
    assert len(page.encode()) < 500_000
    assert len(re.findall(r"<[a-z]", page)) < 5_300


def test_the_order_is_that_of_reading(told):
    """Verdict, session, what happened, agreement, efforts, numbers, how, cautions come in turn."""
    _, document, _ = told
    assert [e["text"] for e in document.all("h2")] == [
        "Verdict", "The session", "What happened", "Agreement", "Efforts", "All numbers",
        "How it was done", "Cautions",
    ]  # fmt: skip


def test_every_colour_of_a_figure_follows_the_page(told):
    """No figure has a colour of its own left: all are names that the page fills."""
    text, _, _ = told
    pictures = re.findall(r'<svg id="([^"]+)"(.*?)</svg>', text, re.DOTALL)
    assert len(pictures) == 2 * len(FIGURES)
    for name, picture in pictures:
        assert re.findall(r"#[0-9a-f]{6}\b", picture) == [], name
        assert "var(--ink)" in picture, name


def test_invented_data_are_marked_on_page_and_figures(told):
    """Simulated data are called invented at the top, at the end, and in every figure."""
    text, document, _ = told
    assert text.count(INVENTED_LONG) == 2
    for picture in document.all("svg"):
        assert INVENTED in picture["text"]


def test_measured_data_are_not_called_invented(tmp_path, capsys):
    """Where the plan does not say so, nothing is marked as invented."""
    file = written(tmp_path / "a.sqlite", two_sensors(60), end_s=60)
    with one_figure():
        text, _ = reported(capsys, file, tmp_path)
    assert "<svg" in text
    assert INVENTED not in text


def test_another_can_redo_it(told):
    """The page names the file's checksum, the versions, tolerance, and every age limit."""
    text, _, facts = told
    for words in (
        facts["capture_sha256"], facts["capture_uuid"], facts["recorded_with"],
        facts["reported_with"], "±5 bpm or ±10 %", "3 s (Yarrow)",
    ):  # fmt: skip
        assert words in text


def test_what_guidance_asks_for_is_listed_or_missing(tmp_path, capsys):
    """Reporting items of the plan stand in the page with their values, the others as missing."""
    plan = Plan(
        wearer="W1",
        activity="rowing ergometer",
        sensors=(
            PlannedSensor(label="Yarrow", role="reference", name="Yarrow"),
            PlannedSensor(label="Sorrel", role="test", name="Sorrel"),
        ),
        details={"Skin_tone": "Fitzpatrick III", "wrist size": " ", "damper": "130", "BMI": "23"},
    )
    file = written(tmp_path / "a.sqlite", two_sensors(300), plan=plan, end_s=300)
    with without_figures():
        text, facts = reported(capsys, file, tmp_path)
    values = {item["item"]: item["value"] for item in facts["reporting_items"]}
    assert (values["skin tone"], values["body mass index"]) == ("Fitzpatrick III", "23")
    assert "wrist circumference" in facts["missing_items"]
    assert "skin tone" not in facts["missing_items"]
    assert facts["other_details"] == {"damper": "130"}
    for words in ("Fitzpatrick III", "damper", *facts["missing_items"]):
        assert words in text


def test_labels_cannot_become_markup(tmp_path, capsys):
    """Text of the plan is text in the page and its figures, whatever signs it has."""
    plan = Plan(
        wearer="W1",
        activity="<script>alert(1)</script> & more",
        sensors=(
            PlannedSensor(label="<b>Yarrow</b>", role="reference", name="Yarrow"),
            PlannedSensor(label='Sorrel "&lt;" $x_1$', role="test", name="Sorrel"),
        ),
        details={"<i>age</i>": "</style>"},
    )
    file = written(tmp_path / "a.sqlite", two_sensors(60), plan=plan, end_s=60)
    with one_figure():
        text, _ = reported(capsys, file, tmp_path)
    document = Document(text)
    assert document.faults == []
    assert [e for e in document.elements if e["tag"] in {"script", "b", "i"}] == []
    drawn = [e["text"] for e in document.all("text")]
    assert any('Sorrel "&lt;" $x_1$' in words for words in drawn)
