"""A page opened in a real Chromium, and everything it said or asked for."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, Page, sync_playwright
from tests.needs import program


@contextmanager
def chromium() -> Iterator[Browser]:
    """Chromium without a window, and without its own calls home."""
    path = program("chromium", "chromium-browser", "google-chrome", package="chromium")
    with sync_playwright() as driver:
        found = driver.chromium.launch(
            executable_path=path,
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        yield found
        found.close()


def heard(page: Page) -> tuple[list[str], list[str]]:
    """Lists of what a page says and of what it asks for, which grow as it does."""
    said: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("dialog", lambda dialog: said.append(dialog.message))
    page.on("request", lambda request: asked.append(request.url))
    return said, asked


class Visit:
    """A page opened, and everything it said or asked for."""

    def __init__(self, browser: Browser, file: Path, **options: Any) -> None:
        self.context = browser.new_context(**options)
        self.page = self.context.new_page()
        self.said, self.asked = heard(self.page)
        self.url = file.as_uri()
        self.page.goto(self.url)

    def end(self) -> None:
        """Nothing was said, and nothing but the file and the pictures in it was asked for."""
        assert self.said == []
        assert [url for url in self.asked if not url.startswith("data:image/")] == [self.url]
        self.context.close()
