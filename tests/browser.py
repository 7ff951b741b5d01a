"""Pages as a browser reads them: what it says on its console, what it asks the network for, how wide a page is, how it prints.

Tests that need a browser are skipped where there is none, but never in CI: `.ci/run` installs it.
"""

import html
import json
import re
import shutil
import subprocess

from tests.missing import missing
from tests.read_back import pdf_pages

NARROW = 390  # CSS pixels: a telephone


def program():
    """Path of the browser; where there is none, the test is skipped and says why."""
    return shutil.which("chromium") or missing("needs a browser: Debian's package chromium")


def _chromium(folder, page, *words):
    """Run the browser without a screen on one page; what it printed, and what it said."""
    ran = subprocess.run(
        [
            program(), "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run",
            "--disable-background-networking", "--disable-component-update", f"--user-data-dir={folder / 'profile'}",
            "--enable-logging=stderr", "--v=0", *words, page.as_uri(),
        ],
        capture_output=True, text=True, check=True, timeout=600,
    )  # fmt: skip
    return ran.stdout, ran.stderr


def framed(pages, of_width):
    """A page that shows others in frames, each of its width, and writes how wide each of them is when it has to be."""
    frames = "".join(
        f'<iframe width="{width}" height="800" srcdoc="{html.escape(one)}"></iframe>'
        for one, width in zip(pages, of_width, strict=True)
    )
    measure = (
        "addEventListener('load', () => { document.title = JSON.stringify([...document.querySelectorAll('iframe')]"
        ".map(one => one.contentDocument.documentElement.scrollWidth)) })"
    )
    return f"<!DOCTYPE html><meta charset=utf-8><title>none</title><body>{frames}<script>{measure}</script>"


def widths(folder, pages, of_width=None):
    """Widths of pages in frames of a telephone's width, or each of its own, and what the browser said of them on its console."""
    page = folder / "frames.html"
    page.write_text(framed(pages, of_width or [NARROW] * len(pages)), encoding="utf-8")
    shown, said = _chromium(folder, page, "--dump-dom")
    return json.loads(html.unescape(re.search("<title>(.*?)</title>", shown)[1])), console(said)


def opened(folder, page):
    """What a page says on the console, and the addresses that it asks for besides its own."""
    log = folder / "net.json"
    _, said = _chromium(folder, page, "--dump-dom", f"--log-net-log={log}", "--net-log-capture-mode=Everything")
    return console(said), requests(log.read_text(encoding="utf-8"))


def console(said):
    """Lines that a page wrote to the console."""
    return [line for line in said.splitlines() if "CONSOLE" in line]


def requests(log):
    """Addresses in a log of the network that are not the browser's own."""
    found = set(re.findall(r'"url":"((?:https?|ftp|wss?|data)[^"]*)"', log))
    return {one for one in found if not re.match(r"https?://[^/]*(google|gvt1|chromium)[^/]*/", one)}


def printed(folder, page):
    """The text of each page that the browser prints."""
    pdf = folder / "printed.pdf"
    _chromium(folder, page, "--no-pdf-header-footer", f"--print-to-pdf={pdf}")
    return pdf_pages(pdf)
