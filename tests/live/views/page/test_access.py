"""Who is let in to the page: tokens, names, what a browser may load."""

from __future__ import annotations

import hmac

import pytest

from live.views.page import access
from live.views.page.access import (
    Right,
    Tokens,
    headers_of,
    host_of,
    is_own_name,
    is_same_origin,
    shown_address,
    url_of,
)


def test_each_token_opens_its_own_and_nothing_else_does():
    """Two of 128 bits, different each time; a wrong, an empty or a part of one opens nothing."""
    tokens, others = Tokens(), Tokens()
    assert tokens.right_of(tokens.full) is Right.FULL
    assert tokens.right_of(tokens.read) is Right.READ
    for wrong in ("", tokens.full[:-1], tokens.full + "A", others.full, "ä" * 22):
        assert tokens.right_of(wrong) is None
    assert len({tokens.full, tokens.read, others.full, others.read}) == 4
    assert len(tokens.full) == 22  # 128 bits in base64


def test_tokens_are_compared_in_constant_time(monkeypatch):
    """Both are compared by ``hmac.compare_digest``, whether the first fits or not."""
    compared, plain = [], hmac.compare_digest

    def compare(one, other):
        compared.append(other)
        return plain(one, other)

    monkeypatch.setattr(access.hmac, "compare_digest", compare)
    tokens = Tokens("full", "read")
    for told in ("full", "read", "neither"):
        compared.clear()
        tokens.right_of(told)
        assert compared == [b"full", b"read"]


@pytest.mark.parametrize(
    ("host", "is_ours"),
    [
        ("127.0.0.1:8765", True),
        ("192.168.1.20:8765", True),
        ("[::1]:8765", True),
        ("localhost:8765", True),
        ("LOCALHOST", True),
        ("bench:8765", True),
        ("bench.local:8765", True),
        ("phone-page.lan:8765", True),
        ("evil.example:8765", False),
        ("127.0.0.1.evil.example", False),
        ("bench.evil.example", False),
        ("", False),
        ("a b", False),
        ("x" * 300, False),
        ("127.0.0.1; script-src *", False),
    ],
)
def test_only_our_own_names_are_answered_to(host, is_ours):
    """Addresses in figures, this computer's name and the one that was given: no name that another
    could have point here (DNS rebinding).
    """
    assert is_own_name(host, "phone-page.lan", "bench") is is_ours


def test_a_host_that_is_none_is_no_part_of_a_header():
    """Signs with a meaning in a policy, and no header at all, give an empty host."""
    assert host_of("127.0.0.1:8765") == "127.0.0.1:8765"
    for odd in (None, "", "a;b", "a\nb", "a b", "a/b", "'self'"):
        assert host_of(odd) == ""


def test_the_page_may_load_nothing_from_elsewhere():
    """No source but ourselves, nothing inline, no frame around it; the token is told to nobody."""
    headers = headers_of("192.168.1.20:8765", secure=False)
    policy = dict(
        part.strip().split(" ", 1) for part in headers["Content-Security-Policy"].split(";")
    )
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["img-src"] == "'self'"
    assert policy["connect-src"] == "'self' ws://192.168.1.20:8765"
    assert policy["frame-ancestors"] == policy["base-uri"] == policy["form-action"] == "'none'"
    assert headers["Referrer-Policy"] == "no-referrer"
    assert headers["Cache-Control"] == "no-store"
    assert not any(name.startswith("Access-Control") for name in headers)
    assert "wss://" in headers_of("a:1", secure=True)["Content-Security-Policy"]


def test_another_page_cannot_open_our_socket():
    """The origin that a browser tells must be ours, with its scheme; a program tells none."""
    assert is_same_origin("http://127.0.0.1:8765", "127.0.0.1:8765", secure=False)
    assert is_same_origin(None, "127.0.0.1:8765", secure=False)
    assert not is_same_origin("http://evil.example", "127.0.0.1:8765", secure=False)
    assert not is_same_origin("null", "127.0.0.1:8765", secure=False)
    assert not is_same_origin("http://127.0.0.1:8765", "127.0.0.1:8765", secure=True)


def test_the_address_for_a_phone_is_one_that_it_can_reach():
    """What was given, or where all are listened on one of them; IPv6 stands in brackets."""
    assert shown_address("192.168.1.20") == "192.168.1.20"
    every = "0.0.0.0"  # noqa: S104 - looked at, never bound
    assert shown_address(every) != every
    assert url_of("::1", 1, "t", secure=True) == "https://[::1]:1/t/"
    assert url_of("127.0.0.1", 8765, "t", secure=False) == "http://127.0.0.1:8765/t/"
