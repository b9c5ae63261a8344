"""The desk's sentences in the page's language: each is matched against its pattern, what stands in it kept or turned too."""

from __future__ import annotations


def said(text: str) -> str:
    return text
