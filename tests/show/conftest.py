from __future__ import annotations

import json
import shutil
import subprocess
from math import exp
from pathlib import Path

import pytest

from crosscompat.phylogeny.newick import parse_newick
from crosscompat.show.picture import TipMark

CARRIED = Path(__file__).parents[2] / "trees" / "echinocereus" / "tree.nwk"


def shown(label):
    return label.replace("_", " ")


@pytest.fixture(scope="session")
def echinocereus():
    return parse_newick(CARRIED.read_text(encoding="utf-8"), unit="My")


@pytest.fixture(scope="session")
def marks_on():
    """Invented chances that fall with distance, so that a picture has something to show."""

    def marks(tree, focus, *, unknown_every=0):
        made = []
        for place, (label, distance) in enumerate(zip(tree.tips, tree.patristic_from(focus), strict=True)):
            logit = 1.5 - 1.2 * distance + 0.4 * ((place * 7) % 5 - 2)
            chance, low, high = (1 / (1 + exp(-value)) for value in (logit, logit - 0.9, logit + 0.9))
            if label == focus:
                made.append(TipMark(label, shown(label)))
            elif unknown_every and place % unknown_every == 0:
                made.append(TipMark(label, shown(label), took=1, note="not in the trait table"))
            else:
                took, failed = place % 4 // 2, (place % 3) * 2
                made.append(TipMark(label, shown(label), chance, low, high, took, failed))
        return made

    return marks


@pytest.fixture(scope="session")
def luminance():
    """The relative luminance of a colour ``#rrggbb`` (W3C, Web Content Accessibility Guidelines 2.2)."""

    def luminance(colour):
        shares = [int(colour[start : start + 2], 16) / 255 for start in (1, 3, 5)]
        linear = [share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4 for share in shares]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    return luminance


@pytest.fixture(scope="session")
def contrast(luminance):
    """The contrast ratio of two colours, from 1 to 21 (the same guidelines)."""

    def contrast(one, other):
        darker, lighter = sorted((luminance(one), luminance(other)))
        return (lighter + 0.05) / (darker + 0.05)

    return contrast


@pytest.fixture(scope="session")
def chromium():
    """Run a real browser without a window; gives back what it wrote to standard output."""
    found = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if found is None:
        pytest.skip("no Chromium is installed")

    def run(folder, page, *switches):
        file = folder / "page.html"
        file.write_text(page, encoding="utf-8")
        quiet = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking"]
        profile = f"--user-data-dir={folder / 'profile'}"
        done = subprocess.run(
            [found, *quiet, profile, *switches, file.as_uri()], capture_output=True, timeout=120, check=True
        )
        return done.stdout.decode("utf-8")

    return run


@pytest.fixture(scope="session")
def measured(chromium):
    """What a script in a page found, read from the JSON it leaves in the page."""

    def measure(folder, body, script):
        page = f'<!DOCTYPE html><meta charset="utf-8">{body}<script>{script}</script>'
        found = chromium(folder, page, "--dump-dom")
        return json.loads(found.split('<script type="application/json" id="found">')[1].split("</script>")[0])

    return measure
