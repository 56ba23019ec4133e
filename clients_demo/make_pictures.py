"""Pictures for the READMEs: the sheet, the phone and the coach's pages.

    python clients_demo/make_pictures.py [coach] [phone] [spreadsheet]

It needs the test dependencies, Chromium, LibreOffice and pdftoppm, and takes about a minute.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import requests
from PIL import Image, ImageChops
from playwright.sync_api import Browser, FilePayload, FloatRect, Page, sync_playwright

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))  # wherever it is called from

from clients_demo.picture_stages import (
    CHECK_IN_TOKEN,
    COACH_KEY,
    EARLY,
    LATER,
    PATIENCE_SECONDS,
    READ_TOKEN,
    athlete_on_the_phone,
    make_groups,
    publish_club_rules,
    service,
    squad_of_the_sheet,
    whole_squad,
)
from tests.browser.conftest import CHROMIUM, FLAGS
from tests.clients.calc import running_calc

HERE = Path(__file__).resolve().parent
PHONE, DESK = 390, 1280
"""How wide the screens are, in CSS pixels."""
ALL = 100_000
"""A height that no page has: the picture ends where the page does."""
DOTS_PER_INCH = 80
COLOURS = 128
"""So few suffice for type and flat colours, and keep a picture small."""

Prepare = Callable[[Page], None]


@dataclass(frozen=True)
class Shot:
    """A picture of a page of the coach's: which, how wide the screen is, and how much is shown.

    ``at`` is what the picture begins with, a selector; ``prepare`` does what a coach would do
    first. On ``paper`` it is the first sheet of a print.
    """

    file: str
    address: str
    width: int = DESK
    height: int = ALL
    at: str = "body"
    prepare: Prepare = lambda page: None
    paper: bool = False


def open_a_line(page: Page) -> None:
    """Open the line of somebody who swaps."""
    page.locator(".place-swap-to-low-damage summary").first.click()


def try_a_morning(page: Page) -> None:
    """Ask the rules about growth work of sore quadriceps."""
    page.locator("#goal").select_option("hypertrophy")
    page.locator("#muscle_group").select_option("quadriceps")
    page.locator("#soreness").fill("5")
    page.locator("#hours_since_growth_work").fill("60")
    page.get_by_role("button", name="Ask the rules").click()


def replay(page: Page) -> None:
    """Start a replay and wait until it is done."""
    page.get_by_label("Rule set").select_option("club@1.0.0")
    page.get_by_role("button", name="Start").click()
    page.get_by_text("It is done.").wait_for()


def paste_a_list(page: Page) -> None:
    """Paste a list of three athletes, of whom one needs mending, to be looked over."""
    page.get_by_label("List", exact=True).fill(
        "Name;Born;Zone;Status\nMina;17.5.2004;Europe/Berlin;new to training\n"
        "Odd;31.2.2001;Atlantis;trained\nKenta;;Asia/Tokyo;\n"
    )
    page.get_by_role("button", name="Look it over").click()


def look_at_a_sheet(page: Page) -> None:
    """Upload a sheet of the coach's own making, to be introduced."""
    rows = (
        "Name,Date,Sleep,Legs,Lower back,Sore,Ribs,Ill?,Comment",
        "Ilka,9 Mar 2026,7h30,4,2,3,0,no,",
        "Teodor,9 Mar 2026,6:45,6,5,6,2,cold,sniffs since Sunday",
        "Mariam,9 Mar 2026,8,1,0,1,0,no,all good",
    )
    sheet: FilePayload = {
        "name": "own.csv",
        "mimeType": "text/csv",
        "buffer": "\n".join(rows).encode(),
    }
    page.locator("#file").set_input_files(sheet)
    page.get_by_role("button", name="Look at its columns").click()
    page.get_by_role("button", name="Remember").wait_for()


def hand_out_addresses(page: Page) -> None:
    """Make a sheet of addresses for the first team."""
    page.get_by_label("For whom").select_option("group:first")
    page.get_by_label("Where athletes").fill("https://dawn.example")
    page.get_by_role("button", name="Make the addresses").click()
    page.locator(".cards").wait_for()


def plan_the_week(page: Page) -> None:
    """Plan four sessions for the first team, of which one is today's."""
    for goal, how, group, clock, minutes, days in WEEK_OF_THE_FIRST_TEAM:
        page.goto(PLAN)
        page.get_by_label("Goal").select_option(goal)
        page.get_by_label("How", exact=True).select_option(how)
        page.locator("details.muscles summary").click()
        page.locator(f'[name="muscle_groups"][value="{group}"]').check()
        page.get_by_label("Starts at").fill(clock)
        page.get_by_label("Minutes").fill(minutes)
        for day in days:
            page.locator(f'[name="days"][value="2026-03-{day}"]').check()
        page.get_by_role("button", name="Add the session").click()


def lay_a_week_out(page: Page) -> None:
    """Ask for legs and presses twice each, and move one session too close to another."""
    for row, (name, goal, group) in enumerate(
        (("Legs", "hypertrophy", "quadriceps"), ("Press", "strength", "chest"))
    ):
        own = f"wishes/{row}/"
        page.locator(f'[name="{own}name"]').fill(name)
        page.locator(f'[name="{own}times"]').fill("2")
        page.locator(f'[name="{own}minutes"]').fill("60")
        page.locator(f'[name="{own}blocks/0/sets"]').fill("4")
        page.locator(f'[name="{own}blocks/0/goal"]').select_option(goal)
        page.locator(f"#wishes-{row}-blocks-0-muscle_groups").locator("..").locator(
            "summary"
        ).click()
        page.locator(f'[name="{own}blocks/0/muscle_groups"][value="{group}"]').check()
    page.get_by_role("button", name="Lay the week out").click()
    moved = page.get_by_label("Start of Legs").nth(1)
    moved.select_option(index=5)  # the day after the first
    page.get_by_role("button", name="Judge the moved sessions").click()


WEEK_OF_THE_FIRST_TEAM = (
    ("strength", "free-weights", "chest", "18:00", "50", ("09", "12")),
    ("steady-endurance", "cycling", "quadriceps", "08:00", "40", ("10", "14")),
    ("hypertrophy", "machines", "lats", "18:00", "60", ("11",)),
)
"""Goal, modality, muscle group, start, minutes and days in March."""

PLAN, LOG = "/coach/plan?who=group:first", "/coach/log?who=group:first"
MORNING, ATHLETE = "/coach/", "/coach/athletes/a-03"
WHY = "/coach/why/a-01/2026-03-09"
DECIDING = "/coach/rule-sets/deciding?rule_set=club@1.0.0&whom=athlete:a-03&from=2026-03-16#preview"
RULES = "/coach/rule-sets/baseline/2.0.0"

COACH = (
    Shot("this-morning.png", MORNING, prepare=open_a_line),
    Shot("this-morning-on-a-phone.png", MORNING, width=PHONE, height=1600),
    Shot("this-morning-on-paper.png", MORNING, paper=True),
    Shot("drifts.png", "/coach/drifts"),
    Shot("athlete.png", ATHLETE, height=3300),
    Shot("concerns.png", "/coach/concerns"),
    Shot("why.png", WHY, height=2300),
    Shot("why-record.png", f"{WHY}?under=club@1.0.0", at="#record"),
    Shot("why-on-paper.png", WHY, paper=True),
    Shot("rules-as-sentences.png", RULES, height=1400),
    Shot("rules-as-a-table.png", RULES, height=1200, at="#table"),
    Shot("try-out.png", f"{RULES}/try-out", prepare=try_a_morning),
    Shot("deciding.png", DECIDING),
    Shot("difference.png", "/coach/rule-sets/club/1.0.0?from=baseline@2.0.0"),
    Shot("scorecard.png", f"{RULES}/scorecard", height=1200),
    Shot("replay.png", "/coach/replays", prepare=replay),
    Shot("athletes.png", "/coach/athletes"),
    Shot("look-over.png", "/coach/add-athletes", prepare=paste_a_list),
    Shot("sheet-columns.png", "/coach/sheets", prepare=look_at_a_sheet),
    Shot("addresses-on-paper.png", "/coach/addresses", prepare=hand_out_addresses, paper=True),
    Shot("plan.png", PLAN, prepare=plan_the_week),
    Shot("plan-on-a-phone.png", PLAN, width=PHONE, height=1600),
    Shot("training-log.png", LOG),
    Shot("week.png", "/coach/week?who=athlete:a-03", height=1000, prepare=lay_a_week_out),
)

SHEET = {
    "before.png": (
        *("athlete_id", "date", "sleep_hours", "soreness_quadriceps", "plan_goal", "verdict"),
    ),
    "after.png": ("athlete_id", "plan_goal", "plan_muscle_groups", "verdict", "rule", "reason"),
}
"""The columns that are shown of the sheet, before and after the macro has run."""

SIGN_IN, CALENDAR = "sign-in.png", "outlook.ics"
PHONE_PICTURES = (
    *("empty.png", "filled-in.png", "answered.png", "today-txt.png", "warning-sign.png"),
)

PICTURES = {
    "coach": (SIGN_IN, *(shot.file for shot in COACH)),
    "phone": PHONE_PICTURES,
    "spreadsheet": tuple(SHEET),
}
"""All that is made, by the folder of the client."""


def draw_coach(browser: Browser, folder: Path) -> None:
    """Draw the coach's pages."""
    with service(LATER, whole_squad) as url, opened(browser, url, DESK) as page:
        publish_club_rules(url)
        make_groups(url)
        write_audit(url, folder.parents[1] / "audit" / "why.txt")
        page.goto("/coach/")
        page.get_by_label("Coach's key").fill(COACH_KEY)
        take(page, folder / SIGN_IN, height=420)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url("**/coach/")
        for shot in COACH:
            page.set_viewport_size({"width": shot.width, "height": 900})
            page.goto(shot.address)
            shot.prepare(page)
            if shot.paper:
                print_out(page, folder / shot.file)
            else:
                take(page, folder / shot.file, shot.height, shot.at)


def write_audit(url: str, file: Path) -> None:
    """Write what the audit prints about the advice whose page is drawn too."""
    command = [sys.executable, str(HERE / "audit" / "why.py"), "a-01", "2026-03-09", "--url", url]
    environment = os.environ | {"DAWNRULE_KEY": COACH_KEY, "PYTHONUTF8": "1"}
    file.parent.mkdir(exist_ok=True)
    file.write_bytes(
        subprocess.run(command, check=True, capture_output=True, env=environment).stdout
    )


def draw_phone(browser: Browser, folder: Path) -> None:
    """Draw the check-in page, what the address of today's advice shows, and the calendar."""
    empty, filled_in, answered, today, sign = (folder / file for file in PHONE_PICTURES)
    with service(EARLY, athlete_on_the_phone) as url, opened(browser, url, PHONE) as page:
        page.goto(f"/check-in/{CHECK_IN_TOKEN}")
        take(page, empty)
        fill_in(page)
        take(page, filled_in)
        page.get_by_role("button", name="Send").click()
        take(page, answered, height=1400)
        page.goto(f"/feeds/{READ_TOKEN}/today.txt")
        take(page, today, height=90)
        calendar = requests.get(f"{url}/feeds/{READ_TOKEN}/{CALENDAR}", timeout=PATIENCE_SECONDS)
        (folder.parent / CALENDAR).write_bytes(calendar.content)
        page.goto(f"/check-in/{CHECK_IN_TOKEN}")
        page.get_by_label("Chest pain or pressure").check()
        page.get_by_role("button", name="Send").click()
        take(page, sign)


def fill_in(page: Page) -> None:
    """Fill in the form as an athlete does."""
    for group, sore in (("quadriceps", 4), ("glutes", 3), ("adductors", 2)):
        page.locator(f'label.cell:has([name="soreness/{group}"][value="{sore}"])').click()
    for name, value in (("sleep/hours", "7.5"), ("sleep/quality", 4), ("fatigue", 3)):
        page.locator(f'label.cell:has([name="{name}"][value="{value}"])').click()
    page.get_by_label("No pain, not ill, none of the signs").check()


def draw_sheet(folder: Path) -> None:
    """Draw the squad sheet in Calc, before the macro has run and after."""
    with (
        TemporaryDirectory() as scratch,
        service(EARLY, squad_of_the_sheet) as url,
        running_calc(Path(scratch)) as calc,
    ):
        calc.keep_key(url, COACH_KEY)
        sheet = shutil.copy(HERE / "spreadsheet" / "squad.ods", calc.folder / "before.ods")
        after = calc.folder / "after.ods"
        calc.do(["load", str(sheet)], ["ask"], ["store", str(after)])
        for file, columns in SHEET.items():
            calc.draw((calc.folder / file).with_suffix(".ods"), "check-ins", columns, folder / file)
            crop(folder / file)
            shrink(folder / file)


def take(page: Page, file: Path, height: int = ALL, at: str = "body") -> None:
    """Take a picture of a page from an element on, no taller than that."""
    box = page.locator(at).bounding_box()
    assert box is not None, f"{at} is not on the page"
    top = box["y"] + page.evaluate("scrollY")
    wide, high = page.evaluate("(e => [e.clientWidth, e.scrollHeight])(document.documentElement)")
    shown: FloatRect = {"x": 0, "y": top, "width": wide, "height": min(height, high - top)}
    page.screenshot(path=file, full_page=True, clip=shown)
    shrink(file)


def print_out(page: Page, file: Path) -> None:
    """Draw the first printed page."""
    paper = file.with_suffix(".pdf")
    page.pdf(path=paper, format="A4", prefer_css_page_size=True)
    command = ["pdftoppm", "-png", "-singlefile", "-r", str(DOTS_PER_INCH)]
    subprocess.run([*command, paper, file.with_suffix("")], check=True)
    paper.unlink()
    shrink(file)


def crop(file: Path) -> None:
    """Take away the white margin of a page."""
    with Image.open(file) as picture:
        page = picture.convert("RGB")
    page.crop(ImageChops.invert(page).getbbox()).save(file)


def shrink(file: Path) -> None:
    """Write a picture anew with few colours."""
    with Image.open(file) as picture:
        small = picture.convert("RGB").quantize(COLOURS, Image.Quantize.MAXCOVERAGE)
    small.save(file, optimize=True)


@contextmanager
def opened(browser: Browser, url: str, width: int) -> Iterator[Page]:
    """Open a fresh page of a browser at an address, with a width."""
    context = browser.new_context(base_url=url, viewport={"width": width, "height": 900})
    yield context.new_page()
    context.close()


def main() -> None:
    """Make the pictures of some clients anew, or of all."""
    parser = argparse.ArgumentParser(description="Make the pictures of the clients' READMEs.")
    parser.add_argument("clients", nargs="*", help=f"of {', '.join(PICTURES)}")
    parser.add_argument("--to", type=Path, default=HERE, help="the folder of the clients")
    arguments = parser.parse_args()
    if unknown := set(arguments.clients) - PICTURES.keys():
        parser.error(f"there is no client {min(unknown)}")
    for client in arguments.clients or PICTURES:
        folder = arguments.to / client / "pictures"
        folder.mkdir(parents=True, exist_ok=True)
        _draw(client, folder)


def _draw(client: str, folder: Path) -> None:
    if client == "spreadsheet":
        draw_sheet(folder)
        return
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        {"coach": draw_coach, "phone": draw_phone}[client](browser, folder)
        browser.close()


if __name__ == "__main__":
    main()
