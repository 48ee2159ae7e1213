"""The review pages in a real browser: heard, changed, saved, brought in, by keys alone, in every look and size."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from listener.archive import Archive, open_archive
from listener.archive.reading import faults
from listener.pages.guard import Gate
from tests.listener.pages.browsers import SIZES, accessibility_faults, driver, launched, overflows, page_of
from tests.listener.pages.reviewed import kept_run, long_run, other_words, reviewing, transcript

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

BYTES = 300_000


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with driver() as playwright, launched(playwright) as started:
        yield started


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Archive]:
    with open_archive(tmp_path_factory.mktemp("reviewed") / "archive.sqlite3") as opened:
        yield opened


@pytest.fixture(scope="module")
def gate(archive: Archive) -> Iterator[Gate]:
    with reviewing(archive) as served:
        yield served


@pytest.fixture
def run(archive: Archive, tmp_path: Path) -> str:
    return kept_run(archive, tmp_path).run.id


def open_run(page: Page, gate: Gate, run: str) -> None:
    page.goto(gate.address(f"/runs/{run}"))
    page.locator("#desk[data-ready]").wait_for()


def line(page: Page, text: str) -> str:
    """The selector of the line with these words."""
    found = page.locator(".line", has=page.locator(".what", has_text=text)).first.get_attribute("id")
    return f"#{found}"


def told(page: Page, text: str) -> None:
    from playwright.sync_api import expect

    expect(page.locator("#told")).to_contain_text(text)


def test_a_run_is_heard_confirmed_amended_withdrawn_and_put_back(
    chromium: Browser, gate: Gate, archive: Archive, run: str
) -> None:
    from playwright.sync_api import expect

    with page_of(chromium) as watched:
        page = watched.page
        open_run(page, gate, run)
        expect(page.locator("#waiting")).to_have_text("· 2 to confirm")
        murmur = line(page, "murmur absent")
        page.click(f"{murmur} .go")
        page.click(f"{murmur} [data-key=C]")
        told(page, "Confirmed: murmur absent")
        expect(page.locator("#waiting")).to_have_text("· 1 to confirm")
        rate = line(page, "heart rate 15")
        page.click(f"{rate} .go")
        page.click(f"{rate} [data-other='50']")
        expect(page.locator(f"{rate} .what")).to_have_text("heart rate 50 a minute")
        expect(page.locator(f"{rate} .history")).to_contain_text("heart rate 15 → heart rate 50 a minute")
        bruit = line(page, "bruit absent")
        page.click(f"{bruit} .go")
        expect(page.locator(f"{bruit} .behind")).to_contain_text("recognised as “no carotid brew eats bilaterally”")
        page.click(f"{bruit} [data-key=W]")
        page.fill(f"{bruit} [name=reason]", "the side was not listened to")
        page.press(f"{bruit} [name=reason]", "Enter")
        expect(page.locator(f"{bruit} .tag")).to_have_text("withdrawn")
        page.click(f"{bruit} .tools button")
        expect(page.locator(f"{bruit} .tag")).to_have_text("put back")
        expect(page.locator(f"{bruit} .history li")).to_have_count(2)
        page.click("#undo")
        told(page, "Undone")
        assert watched.errors == []
        assert watched.elsewhere == []
    assert archive.run(run).status == "finished"
    assert list(faults(archive, run)) == []


def test_an_amendment_is_held_against_the_lexicon(chromium: Browser, gate: Gate, run: str) -> None:
    from playwright.sync_api import expect

    with page_of(chromium) as watched:
        page = watched.page
        open_run(page, gate, run)
        pressure = line(page, "blood pressure 168/94")
        page.click(f"{pressure} .go")
        page.click(f"{pressure} [data-key=A]")
        for value, said in (("high", "'high' is no blood pressure"), ("900/20", "Unlikely: systolic 900 is outside")):
            page.fill(f"{pressure} [name=value]", value)
            page.click(f"{pressure} [type=submit]")
            expect(page.locator(f"{pressure} [role=alert]")).to_contain_text(said)
        expect(page.locator(f"{pressure} [type=submit]")).to_have_text("Take it all the same")
        page.fill(f"{pressure} [name=value]", "118/76")
        page.select_option(f"{pressure} [name=side]", "right")
        page.fill(f"{pressure} [name=reason]", "read from the dial")
        page.click(f"{pressure} [type=submit]")
        expect(page.locator(f"{pressure} .what")).to_contain_text("blood pressure 118/76 mmHg")
        expect(page.locator(f"{pressure} .history")).to_contain_text("read from the dial")
        page.click(f"{pressure} .tools button:last-child")
        expect(page.locator(f"{pressure} .what")).to_contain_text("blood pressure 168/94 mmHg")


SOUNDING = """() => {
  const audio = document.getElementById("sound");
  return { source: audio.currentSrc, length: audio.duration, ended: audio.ended, paused: audio.paused };
}"""


#: Gathers the words and lines that are marked as sounding, from frame to frame.
LISTENING = """() => {
  window.wordsHeard = [];
  window.linesHeard = [];
  const add = (list, name) => name && list.at(-1) !== name && list.push(name);
  const look = () => {
    for (const range of CSS.highlights.get("sounding")) add(window.wordsHeard, String(range));
    add(window.linesHeard, document.querySelector(".line.sounding")?.id);
    requestAnimationFrame(look);
  };
  look();
}"""


ENDED = """() => new Promise((done) => {
  const audio = document.getElementById("sound");
  if (audio.ended) done();
  else audio.addEventListener("ended", () => done());
})"""


def test_a_line_plays_its_own_sound_and_its_words_are_marked(chromium: Browser, gate: Gate, run: str) -> None:
    from playwright.sync_api import expect

    evidence = next(w for u in transcript().utterances for w in u.words if w.text == "carotid")
    with page_of(chromium) as watched:
        page = watched.page
        open_run(page, gate, run)
        bruit = line(page, "bruit absent")
        page.evaluate(LISTENING)
        page.click(f"{bruit} .go")
        behind = page.evaluate("() => [...CSS.highlights.get('evidence')].map(String)")
        assert behind == ["no carotid bruits bilaterally"]
        page.evaluate(ENDED)
        expect(page.locator("#play")).to_have_text("Play")
        words, lines = page.evaluate("() => [window.wordsHeard, window.linesHeard]")
        assert words
        assert words == [word for word in behind[0].split() if word in words]
        assert lines == [bruit.removeprefix("#")]
        sound = page.evaluate(SOUNDING)
        assert sound["ended"]
        first = (evidence.start or 0) - 0.32
        assert f"from={first - 0.15:.3f}" in sound["source"]
        assert sound["length"] == pytest.approx(4 * 0.32 - 0.02 + 0.3, abs=0.01)
        page.click("#play")  # the run, from where the line ended
        expect(page.locator("#play")).to_have_text("Stop")
        assert "from=" not in page.evaluate(SOUNDING)["source"]
        assert page.evaluate("() => document.getElementById('sound').currentTime") > first
        page.click("#play")
        assert page.evaluate(SOUNDING)["paused"]
        page.click(".utterance:last-child .at")
        page.wait_for_timeout(200)
        assert "from=" in page.evaluate(SOUNDING)["source"]
        page.click(f"{line(page, 'murmur absent')} .go")  # said 0.02 s after another word, of which nothing is heard
        page.wait_for_timeout(300)
        no = next(w for u in transcript().utterances[4:5] for w in u.words if w.text == "no")
        assert f"from={(no.start or 0) - 0.02:.3f}" in page.evaluate(SOUNDING)["source"]
        assert watched.errors == []


def test_a_remark_leads_to_its_moment_and_a_station_to_its_lines(chromium: Browser, gate: Gate, run: str) -> None:
    from playwright.sync_api import expect

    with page_of(chromium) as watched:
        page = watched.page
        open_run(page, gate, run)
        assert page.locator("#remarks > .list > li").count() <= 7
        remark = page.locator("#remarks li", has_text="Heart rate").first
        remark.locator(".moment").first.click()
        expect(page.locator(".line.chosen .what")).to_contain_text("heart rate 15")
        assert page.evaluate("() => [...CSS.highlights.get('evidence')].map(String)") == ["heart rate fifteen"]
        page.click("[data-station=neck]")
        expect(page.locator(".line.chosen .what")).to_contain_text("bruit absent")


def test_everything_by_keys_alone(chromium: Browser, gate: Gate, archive: Archive, run: str) -> None:
    from playwright.sync_api import expect

    with page_of(chromium) as watched:
        page = watched.page
        open_run(page, gate, run)
        keys = page.keyboard
        keys.press("n")
        expect(page.locator(".go:focus .what")).to_contain_text("heart rate 15")
        keys.press("c")
        told(page, "Confirmed")
        keys.press("u")
        told(page, "Undone")
        keys.press("n")
        expect(page.locator(".go:focus .what")).to_contain_text("murmur absent")
        keys.press("k")
        keys.press("ArrowUp")
        keys.press("ArrowDown")
        keys.press("j")
        expect(page.locator(".go:focus .what")).to_contain_text("murmur absent")
        keys.press("w")
        keys.type("not listened to")
        keys.press("Enter")
        told(page, "Withdrawn: murmur absent")
        keys.press("u")
        expect(page.locator(".line.chosen .tag")).to_have_text("confirm")
        keys.press("a")
        expect(page.locator(".amend select:focus")).to_have_count(1)
        keys.press("c")  # typed into the form, no direction
        keys.press("Escape")
        expect(page.locator(".amend")).to_have_count(0)
        expect(page.locator(".go:focus")).to_have_count(1)
        keys.press("Space")
        expect(page.locator("#play")).to_have_text("Stop")
        keys.press("Escape")
        expect(page.locator("#play")).to_have_text("Play")


def test_keys_are_switched_off_and_tab_and_enter_do_it_all(
    chromium: Browser, gate: Gate, archive: Archive, run: str
) -> None:
    from playwright.sync_api import expect

    with page_of(chromium) as watched:
        page = watched.page
        open_run(page, gate, run)
        keys = page.keyboard
        keys.press("n")
        keys.press("?")
        expect(page.locator("#keys-dialog")).to_be_visible()
        page.locator("#keys-on").press("Space")
        page.locator("#by").fill("Ada")
        keys.press("Escape")
        before = archive.run(run).events
        page.locator(".line.chosen .go").focus()
        keys.press("c")
        keys.press("w")
        expect(page.locator(".amend")).to_have_count(0)
        assert archive.run(run).events == before
        keys.press("Tab")
        expect(page.locator(".line.chosen .tools button:focus")).to_have_count(1)
        keys.press("Enter")
        told(page, "Confirmed")
        expect(page.locator(".line.chosen .history")).to_contain_text("Confirmed by Ada")


def test_a_page_that_is_behind_is_told_and_shown_anew(chromium: Browser, gate: Gate, run: str) -> None:
    from playwright.sync_api import expect

    with page_of(chromium) as one, page_of(chromium) as two:
        open_run(one.page, gate, run)
        open_run(two.page, gate, run)
        for watched in (one, two):
            watched.page.click(f"{line(watched.page, 'murmur absent')} .go")
            watched.page.keyboard.press("c")
        expect(two.page.locator("#notice")).to_contain_text("was changed since this page showed it")
        expect(two.page.locator("#waiting")).to_have_text("· 1 to confirm")


def test_notes_are_read_printed_and_saved(chromium: Browser, gate: Gate, run: str, tmp_path: Path) -> None:
    from playwright.sync_api import expect

    with page_of(chromium, scheme="dark") as watched:
        page = watched.page
        open_run(page, gate, run)
        page.click("#files summary")
        with page.expect_download() as download:
            page.click("#files a[href$='/csv']")
        assert download.value.suggested_filename == "a rehearsal.csv"
        assert "blood_pressure" in Path(download.value.path()).read_text()
        page.click("text=Note")
        page.check("[value=handoff]")
        page.check("[name=trace]")
        page.click("text=Show")
        expect(page.locator("h1")).to_have_text("Handoff (SBAR)")
        page.emulate_media(media="print")
        assert not page.locator(".top").is_visible()
        assert not page.locator("form").is_visible()
        colours = page.evaluate(
            "() => ['backgroundColor', 'color'].map((name) => getComputedStyle(document.body)[name])"
        )
        assert colours == ["rgb(255, 255, 255)", "rgb(0, 0, 0)"]
        page.pdf(path=tmp_path / "note.pdf")
        page.emulate_media(media="screen")
        page.locator(".trace a").first.click()
        page.locator("#desk[data-ready]").wait_for()
        expect(page.locator(".line.chosen")).to_have_count(1)
        assert watched.errors == []


def test_a_reading_anew_is_looked_at_before_it_is_taken(chromium: Browser, kept: Archive, tmp_path: Path) -> None:
    from playwright.sync_api import expect

    run, pack = kept_run(kept, tmp_path).run.id, other_words(tmp_path)
    with reviewing(kept, packs=(str(pack),)) as gate, page_of(chromium) as watched:
        page = watched.page
        open_run(page, gate, run)
        expect(page.locator("#changed")).to_be_visible()
        page.click("#again")
        expect(page.locator(".difference .goes")).to_have_text("goes Heart: murmur absent", timeout=60_000)
        expect(page.locator(".difference .comes")).to_have_text("comes Heart: heart murmur absent")
        assert accessibility_faults(page) == []
        page.click("#again-no")
        expect(page.locator("#record")).not_to_contain_text("heart murmur")
        page.click("#again")
        page.click("#again-yes", timeout=60_000)
        expect(page.locator("#record")).to_contain_text("heart murmur absent")
        expect(page.locator("#changed")).to_be_hidden()
        assert watched.errors == []


@pytest.mark.parametrize(
    ("size", "scheme"), [*((size, "light") for size in SIZES), ("narrow", "dark"), ("usual", "dark")]
)
def test_every_screen_is_accessible_and_fits(
    chromium: Browser, gate: Gate, run: str, size: str, scheme: str
) -> None:
    with page_of(chromium, size, scheme) as watched:
        page = watched.page
        open_run(page, gate, run)
        page.click(f"{line(page, 'murmur absent')} .go")
        page.keyboard.press("a")
        assert accessibility_faults(page) == []
        assert not overflows(page)
        if size == "narrow":
            page.keyboard.press("Escape")
            for name in ("words", "remarks", "stations"):
                page.click(f"button[data-view={name}]")
                assert accessibility_faults(page) == []
                assert not overflows(page)
        page.click("#help")
        assert accessibility_faults(page) == []
        for path in ("/runs", f"/runs/{run}/note?wording=exception&trace=1"):
            page.goto(gate.address("/").replace("/?", f"{path}{'&' if '?' in path else '?'}"))
            assert accessibility_faults(page) == []
            assert not overflows(page)
        assert watched.errors == []


def test_the_page_is_light_and_asks_nothing_of_elsewhere(chromium: Browser, gate: Gate, run: str) -> None:
    sizes: list[int] = []
    with page_of(chromium, block=False) as watched:
        watched.page.on("response", lambda answer: sizes.append(len(answer.body())) if answer.ok else None)
        open_run(watched.page, gate, run)
        assert watched.elsewhere == []
        assert sum(sizes) < BYTES


def test_a_long_run_opens_steps_and_jumps(chromium: Browser, kept: Archive) -> None:
    """Nine hundred lines; tests/bench/review.py measures ten thousand."""
    from playwright.sync_api import expect

    run = long_run(kept, 900)
    with reviewing(kept) as gate, page_of(chromium) as watched:
        page = watched.page
        open_run(page, gate, run)
        assert page.locator(".line").count() == 900
        for _ in range(3):
            page.keyboard.press("j")
        expect(page.locator(".go:focus")).to_have_count(1)
        page.click("[data-station=abdomen]")
        expect(page.locator(".line.chosen .what")).to_be_in_viewport()
        expect(page.locator(".line.chosen .what")).to_contain_text("abdomen")
        assert watched.errors == []
