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


_FREE: dict[str, Page] = {}
"""Windows that visits left, by what they were opened with: a new one takes longer than most tests."""


class Visit:
    """A page opened, and everything it said or asked for."""

    def __init__(self, browser: Browser, file: Path, **options: Any) -> None:
        self.window = f"{id(browser)} {sorted(options.items())}"
        self.scheme = options.get("color_scheme", "light")
        self.page = _FREE.pop(self.window, None) or browser.new_context(**options).new_page()
        self.context = self.page.context
        self.said, self.asked = heard(self.page)
        self.url = file.as_uri()
        self.page.goto(self.url)

    def end(self) -> None:
        """Nothing was said, and nothing but the file and the pictures in it was asked for."""
        assert self.said == []
        assert [url for url in self.asked if not url.startswith("data:image/")] == [self.url]
        self._leave()

    def _leave(self) -> None:
        """Leave the window as it was found; the next visit loads its page anew."""
        self.page.evaluate("() => { try { localStorage.clear(); } catch { /* it keeps nothing */ } }")
        self.page.emulate_media(media="null", color_scheme=self.scheme)
        self.page.mouse.move(0.0, 0.0)
        if len(_FREE) == 3:
            _FREE.pop(next(iter(_FREE))).context.close()
        _FREE[self.window] = self.page
