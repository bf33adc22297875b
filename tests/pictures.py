"""Take the pictures of the README from a fresh render of the example: python tests/pictures.py."""

import shutil
import tempfile
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

from trialkit.batch import Request, render

ROOT = Path(__file__).resolve().parent.parent
EXAMPLE = ROOT / "data_examples" / "eggplant_flea_beetle"
PICTURES = ROOT / "reports" / "pictures"

# name: page, width and height of the window in CSS pixels.
VIEWS = {
    "index": ("index.html", 1100, 900),
    "report": ("2025/cedar_flat/report.html", 1000, 1150),
    "phone": ("2025/brook_terrace/report.html", 390, 844),
    "across": ("across/report.html", 1000, 1150),
}


def main() -> None:
    """Render the example and save one picture per view."""
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        reports = render(Request(EXAMPLE, Path(folder))).index.parent
        options = {"executable_path": shutil.which("chromium"), "args": ["--no-sandbox"]}
        browser = play.chromium.launch(**options)
        for name in VIEWS:
            picture(browser, reports, name)
        browser.close()


def picture(browser: Browser, reports: Path, name: str) -> None:
    """Save the top of one page as a PNG."""
    page_file, width, height = VIEWS[name]
    page = browser.new_page(viewport={"width": width, "height": height})
    page.goto((reports / page_file).as_uri())
    page.screenshot(path=PICTURES / f"{name}.png")
    page.close()


if __name__ == "__main__":
    main()
