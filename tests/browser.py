"""Pages as a browser reads them: what it says on its console, what it asks the network for, how wide a page is, how it prints.

How a page looks depends on the fonts that a machine has: `fonts` hides all but one from the browser.

Tests that need a browser are skipped where there is none, but never in CI: `.ci/run` installs it.
"""

import html
import json
import os
import re
import shutil
import subprocess
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.missing import missing
from tests.read_back import pdf_pages

NARROW, HIGH = 390, 844  # CSS pixels: a telephone
WIDTHS = (NARROW, 768, 1280)  # a tablet and a window as well


def program():
    """Path of the browser; where there is none, the test is skipped and says why."""
    return shutil.which("chromium") or missing("needs a browser: Debian's package chromium")


def _chromium(folder, page, *words, fonts=None):
    """Run the browser without a screen on one page; what it printed, and what it said.

    With `fonts`, a configuration of fontconfig, it has no other fonts than those.
    """
    ran = subprocess.run(
        [
            program(), "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run",
            "--disable-background-networking", "--disable-component-update", f"--user-data-dir={folder / 'profile'}",
            "--enable-logging=stderr", "--v=0", *words, page.as_uri(),
        ],
        capture_output=True, text=True, check=True, timeout=600,
        env=os.environ | ({} if fonts is None else {"FONTCONFIG_FILE": str(fonts)}),
    )  # fmt: skip
    return ran.stdout, ran.stderr


_WIDTHS = (
    "document.title = JSON.stringify([...document.querySelectorAll('iframe')]"
    ".map(one => one.contentDocument.documentElement.scrollWidth))"
)


def framed(pages, of_width, measure=_WIDTHS):
    """A page that shows others in frames, each of its width, and writes how wide each has to be, or what else is measured."""
    frames = "".join(
        f'<iframe width="{width}" height="800" srcdoc="{html.escape(one)}"></iframe>'
        for one, width in zip(pages, of_width, strict=True)
    )
    at_load = f"addEventListener('load', () => {{ {measure} }})"
    return f"<!DOCTYPE html><meta charset=utf-8><title>none</title><body>{frames}<script>{at_load}</script>"


def widths(folder, pages, of_width=None):
    """Widths of pages in frames of a telephone's width, or each of its own, and what the browser said of them on its console."""
    page = folder / "frames.html"
    page.write_text(framed(pages, of_width or [NARROW] * len(pages)), encoding="utf-8")
    shown, said = _chromium(folder, page, "--dump-dom")
    return json.loads(html.unescape(re.search("<title>(.*?)</title>", shown)[1])), console(said)


def only_font(folder, family, package):
    """Configuration of fontconfig under which a machine has one family of fonts; skipped where the family is missing."""
    lister = shutil.which("fc-list") or missing("needs a list of fonts: Debian's package fontconfig")
    listed = subprocess.run([lister, f":family={family}", "file"], capture_output=True, text=True, check=True).stdout
    files = [Path(line.strip().removesuffix(":")) for line in listed.splitlines()]
    if not files:
        missing(f"needs the font {family}: Debian's package {package}")
    with_family = folder / family.replace(" ", "-")
    with_family.mkdir()
    for file in files:
        (with_family / file.name).symlink_to(file)
    configuration = folder / f"{with_family.name}.conf"
    configuration.write_text(
        '<?xml version="1.0"?><!DOCTYPE fontconfig SYSTEM "fonts.dtd">'
        f"<fontconfig><dir>{with_family}</dir><cachedir>{folder / 'cache'}</cachedir></fontconfig>",
        encoding="utf-8",
    )
    return configuration


# Each text's lines against the boxes of what holds it, up to the cell, against what is drawn in the cell, and against other texts;
# a text that its box hides in part is wider or higher than the box; a date stands on one line, and so does a word
# of up to 15 signs or its parts. All in CSS pixels (96 to the inch), of which half a one is let be.
_FAULTS = """
const LEEWAY = 0.5, SMALLEST = 8.5;  // [px], [pt] of letters
const over = (a, b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > LEEWAY
  && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > LEEWAY;
const outside = (a, b) => a.left < b.left - LEEWAY || a.right > b.right + LEEWAY
  || a.top < b.top - LEEWAY || a.bottom > b.bottom + LEEWAY;
const faults = cell => {
  const found = [], texts = [], own = cell.ownerDocument;
  const walker = own.createTreeWalker(cell, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode, text = node.textContent.trim();
    if (!text) continue;
    const range = own.createRange();
    range.selectNodeContents(node);
    const lines = [...range.getClientRects()];
    const size = parseFloat(getComputedStyle(node.parentElement).fontSize) * 72 / 96;
    if (size < SMALLEST - 0.01 && node.parentElement.localName !== 'sub')
      found.push('in letters of ' + size.toFixed(1) + ' pt: ' + text);
    if (lines.length > 1
        && /^(\\d{4}-\\d\\d-\\d\\d|\\d\\d:\\d\\d\\S*)$/.test(text)) found.push('a date or time on two lines: ' + text);
    // The large letters of a heading may have to be.
    const words = node.parentElement.localName === 'h1' ? [] : [...node.textContent.matchAll(/\\S+/g)]
      .filter(word => word[0].length < 16 && !word[0].includes('\\u00ad'));  // that is parted where it says so
    for (const [word, part] of words.flatMap(word => [...word[0].matchAll(/[^-]+/g)].map(part => [word, part]))) {
      range.setStart(node, word.index + part.index);
      range.setEnd(node, word.index + part.index + part[0].length);
      const tops = [...range.getClientRects()].map(line => line.top);
      if (Math.max(...tops) - Math.min(...tops) > LEEWAY) found.push('a word on two lines: ' + word[0]);
    }
    for (let box = node.parentElement; ; box = box.parentElement) {
      if (getComputedStyle(box).display !== 'inline' && lines.some(line => outside(line, box.getBoundingClientRect())))
        found.push('outside ' + box.localName + ': ' + text);
      if (box === cell) break;
      if (box.scrollWidth > box.clientWidth + 1 && getComputedStyle(box).overflow !== 'visible')
        found.push('cut in ' + box.localName + ': ' + text);
    }
    for (const drawn of cell.querySelectorAll('svg'))
      if (lines.some(line => over(line, drawn.getBoundingClientRect()))) found.push('over a picture: ' + text);
    for (const other of texts)
      if (lines.some(line => other.lines.some(one => over(line, one)))) found.push('over ' + other.text + ': ' + text);
    texts.push({text, lines});
  }
  return found;
};
"""


def faults_of_texts(folder, page, cells, fonts=None, width=800):
    """What is cut, parted, small, outside its box or over something else in the cells of a page: a list for each, in order.

    The page stands in a frame of this width [CSS pixels].
    """
    return faults_in_frames(folder, [page], cells, [width], fonts)[0]


def faults_in_frames(folder, pages, cells, of_width, fonts=None):
    """The same of pages in frames, each of its own width: a list for each page."""
    measured = folder / "measured.html"
    each = f"frame => [...frame.contentDocument.querySelectorAll({cells!r})].map(faults)"
    every = f"{_FAULTS} document.title = JSON.stringify([...document.querySelectorAll('iframe')].map({each}))"
    measured.write_text(framed(pages, of_width, every), encoding="utf-8")
    shown, _ = _chromium(folder, measured, "--dump-dom", fonts=fonts)
    return json.loads(html.unescape(re.search("<title>(.*?)</title>", shown)[1]))


def opened(folder, page):
    """What a page says on the console, and the addresses that it asks for besides its own."""
    log = folder / "net.json"
    _, said = _chromium(folder, page, "--dump-dom", f"--log-net-log={log}", "--net-log-capture-mode=Everything")
    return console(said), requests(log.read_text(encoding="utf-8"))


@contextmanager
def tabs():
    """Opens pages in a browser: HTML, or an address where it begins with one, in a window of a width [CSS px]."""
    with sync_playwright() as bridge, bridge.chromium.launch(executable_path=program()) as shown:

        def tab(page, width=NARROW, scheme="light"):
            """The page; `scheme`, light or dark, is what the reader's machine asks for."""
            new = shown.new_page(viewport={"width": width, "height": HIGH}, color_scheme=scheme)
            if page.lstrip().startswith("<"):
                new.set_content(page)
            else:
                new.goto(page)
            return new

        yield tab


def console(said):
    """Lines that a page wrote to the console."""
    return [line for line in said.splitlines() if "CONSOLE" in line]


def requests(log):
    """Addresses in a log of the network that are not the browser's own."""
    found = set(re.findall(r'"url":"((?:https?|ftp|wss?|data)[^"]*)"', log))
    return {one for one in found if not re.match(r"https?://[^/]*(google|gvt1|chromium)[^/]*/", one)}


def printed(folder, page, fonts=None):
    """The text of each page that the browser prints."""
    pdf = folder / "printed.pdf"
    _chromium(folder, page, "--no-pdf-header-footer", f"--print-to-pdf={pdf}", fonts=fonts)
    return pdf_pages(pdf)
