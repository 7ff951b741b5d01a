"""Whether a page can be used by everybody, as far as a program can tell: the rules of axe-core, asked in a real browser.

axe-core (MPL-2.0) comes with a wheel of its own, and so does the bridge to the browser, which is Debian's. Nothing is fetched.
"""

from axe_playwright_python.sync_playwright import Axe

from tests.browser import WIDTHS, tabs

SCHEMES = ("light", "dark")  # what the reader's machine asks for
# How many were folded; a rule asks nothing of what is not shown.
_UNFOLD = "[...document.querySelectorAll('details:not([open])')].map(folded => { folded.open = true; }).length"


def violations(page, widths=WIDTHS, schemes=SCHEMES):
    """What axe-core finds wrong with a page, a line for each place; the page is HTML, or an address where it begins with one.

    It is looked at in each width and each scheme of colours, as it opens and with all that it folds unfolded.
    """
    with tabs() as tab:
        return [
            f"{width} px, {scheme}: {line}"
            for width in widths
            for scheme in schemes
            for line in violations_on(tab(page, width, scheme))
        ]


def violations_on(tab):
    """The same of a page that is open in a tab: as it is, and with all that it folds unfolded."""
    as_it_is = _found(tab)
    unfolded = _found(tab) if tab.evaluate(_UNFOLD) else []
    return list(dict.fromkeys([*as_it_is, *unfolded]))


def _found(tab):
    return [
        f"{rule['id']}: {' '.join(map(str, place['target']))}: {' '.join(place['failureSummary'].split())}"
        for rule in Axe().run(tab, options={"resultTypes": ["violations"]}).response["violations"]
        for place in rule["nodes"]
    ]
