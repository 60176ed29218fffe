"""The pages of the book that the settings name, as a server asks for them."""

from __future__ import annotations

from fastapi import FastAPI

from hangtab.settings import read_settings
from hangtab.web.app import create_app
from hangtab.web.desk import BookDesk


def make_app() -> FastAPI:
    """The application; book, theme and who is at work come from the settings."""
    settings = read_settings({})
    return create_app(BookDesk.open(settings.book, settings.get("who")), theme=settings.get("theme"))
