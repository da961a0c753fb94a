"""The page of the desk."""

from __future__ import annotations

import html

__all__ = ["page_html"]


def page_html(token: str, *, started: bool) -> str:
    """The page; `started` is False where there is no folder yet and the five questions come first."""
    return (
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">'
        f'<meta name="desk-token" content="{html.escape(token)}"><title>Plumbrun desk</title></head>'
        f'<body data-started="{str(started).lower()}"></body></html>'
    )
