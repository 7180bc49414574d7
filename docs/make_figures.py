"""Make the pictures of README and guides from the sample sites, into docs/figures.

Run it in the environment of the tests, with chromium and pdftoppm installed, on what the guides' commands made:
``python docs/follow_guides.py --keep FOLDER`` and then ``python docs/make_figures.py FOLDER``.
"""

import argparse
import shutil
import subprocess
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

DOCS = Path(__file__).parent
FIGURES = DOCS / "figures"
WIDTH, COLOURS = 1400, 256


def shrink(source: Path, name: str, *, width: int = WIDTH) -> None:
    """Write a picture at most so many pixels wide, with few colours: the repository keeps it."""
    with Image.open(source) as full:
        picture = full.convert("RGB")
        if picture.width > width:
            picture = picture.resize((width, round(picture.height * width / picture.width)), Image.Resampling.LANCZOS)
        picture.quantize(COLOURS, Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE).save(
            FIGURES / name, optimize=True
        )


def shoot_page(page_file: Path, target: Path) -> None:
    """Show the what-if page with one hook-up chosen, as a reader would, and take its picture."""
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1500, "height": 980})
        page.goto(page_file.resolve().as_uri())
        page.wait_for_timeout(3000)
        page.screenshot(path=target)
        browser.close()


def shoot_sheet(sheet: Path, target: Path, *, page: int) -> None:
    """Render one page of a PDF."""
    stem = target.with_suffix("")
    subprocess.run(
        ["pdftoppm", "-png", "-r", "90", "-f", str(page), "-l", str(page), "-singlefile", sheet, stem], check=True
    )


def main() -> None:
    """Make all pictures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("made", type=Path, help="Folder with the guides' results.")
    parser.add_argument("--sheet-page", type=int, default=7, help="Page of the crew sheet to show.")
    asked = parser.parse_args()
    FIGURES.mkdir(exist_ok=True)
    shrink(asked.made / "review" / "map.png", "map.png")
    shrink(asked.made / "groups.png", "groups.png")
    shrink(asked.made / "counted" / "scope.png", "scope.png")
    shrink(asked.made / "phase_1" / "excavation.png", "excavation.png")
    with tempfile.TemporaryDirectory() as folder:
        shoot_page(asked.made / "review" / "page.html", Path(folder) / "page.png")
        shrink(Path(folder) / "page.png", "page.png")
        shoot_sheet(asked.made / "plan" / "crew_sheet.pdf", Path(folder) / "sheet.png", page=asked.sheet_page)
        shrink(Path(folder) / "sheet.png", "crew_sheet.png", width=800)


if __name__ == "__main__":
    main()
