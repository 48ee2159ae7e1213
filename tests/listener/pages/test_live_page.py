"""The live page in a real browser: hands-free, by keys alone, broken and mended, in every look and size."""

from __future__ import annotations

import re
import wave
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from listener.archive import Archive, open_archive
from listener.archive.reading import faults, filed_record, sound_of
from listener.pages.ears import ModelHearers
from listener.pages.practice import Practice
from listener.pages.review_starting import review_room
from listener.pages.serving import running
from listener.pages.starting import live_app
from listener.pages.voice import can_speak
from listener.runs import Options
from listener.sound import open_sound
from parser.record import Record
from tests.listener.models import stock
from tests.listener.pages.browsers import SIZES, accessibility_faults, driver, launched, overflows, page_of
from tests.listener.pages.live import practising
from tests.listener.sessions import LEXICON, SAID, spoken

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page, Playwright

SPOKEN_RUN = Path(__file__).parents[2] / "data" / "live_run.opus"
BYTES = 300_000


@pytest.fixture(scope="module")
def playwright() -> Iterator[Playwright]:
    with driver() as started:
        from playwright.sync_api import expect

        expect.set_options(timeout=20_000)  # a machine may have other work
        yield started


@pytest.fixture(scope="module")
def chromium(playwright: Playwright) -> Iterator[Browser]:
    with launched(playwright) as started:
        yield started


@pytest.fixture
def spoken_wav(tmp_path: Path) -> Path:
    """The spoken run as the browser's microphone takes it."""
    with open_sound(SPOKEN_RUN) as sound:
        samples = np.concatenate(list(sound.blocks()))
    path = tmp_path / "run.wav"
    with wave.open(str(path), "wb") as target:
        target.setnchannels(1)
        target.setsampwidth(2)
        target.setframerate(16000)
        target.writeframes(samples.astype("<i2").tobytes())
    return path


def begin(page: Page, address: str) -> None:
    page.goto(address)
    page.click("#begin")
    page.locator("#run").wait_for()


def take(page: Page, text: str) -> None:
    """Types what would be said, line by line."""
    if not page.locator("#typed").is_visible():
        page.click("#by-hand summary")
    for line in text.splitlines():
        page.fill("#typed", line)
        page.press("#typed", "Enter")


@pytest.mark.model
def test_a_whole_run_hands_free_and_nothing_leaves_the_machine(
    playwright: Playwright, tmp_path: Path, spoken_wav: Path
) -> None:
    from playwright.sync_api import expect

    stock()
    with open_archive(tmp_path / "archive.sqlite3") as archive:
        practice = Practice(archive, ModelHearers(), grace_s=1.0)
        with (
            running(lambda gate: live_app(gate, practice, LEXICON, review_room(archive, Options(), None))) as gate,
            launched(playwright, spoken_wav) as chromium,
            page_of(chromium) as watched,
        ):
            page = watched.page
            page.goto(gate.address())
            page.locator("#start").wait_for(timeout=120_000)  # the vocabulary may have to be compiled first
            page.click("#check")  # a browser gives the microphone only after a touch; all else is spoken
            page.locator("#run").wait_for()
            # A busy machine's made-up microphone drops pieces of the first words: only the finding counts.
            expect(page.locator("#log")).to_contain_text("bruit absent")
            expect(page.locator("#words")).to_contain_text("blood pressure one eighteen over seventy six right arm")
            expect(page.locator("#state")).to_have_text("Listening")
            expect(page.locator("#log")).to_contain_text("blood pressure 118/76 mmHg, right arm")
            expect(page.locator("#answer-text")).to_contain_text("Not begun: Preparation")
            expect(page.locator("#log .gone")).to_contain_text("pulse 2+")
            expect(page.locator("#log .entry:not(.gone)", has_text="pulse 2+")).to_have_count(1)
            expect(page.locator("#stations li", has_text="Lower extremities")).to_contain_text("partial")
            assert accessibility_faults(page) == []
            expect(page.locator("#ended")).to_be_visible()
            page.wait_for_url("**/runs/*")
            expect(page.locator("main")).to_contain_text("bruit absent")
            assert watched.errors == []
            assert watched.elsewhere == []
            assert len(watched.addresses) > 10
        info = archive.run("last")
        record = filed_record(archive, info.id)
        assert list(faults(archive, info.id)) == []
    assert record is not None
    wanted = {("bruit", "absent", None), ("blood_pressure", "present", "118/76"), ("pulse", "present", "2+")}
    assert wanted <= standing(record)
    assert info.seconds > 20


def standing(record: Record) -> set[tuple[str, str, str | None]]:
    """Concept, status and value of every entry that stands."""
    entries = [entry for _, entry in record.entries().values() if entry.superseded_by is None]
    return {(entry.concept, entry.status, entry.value and entry.value.text) for entry in entries}


def test_by_keys_alone(chromium: Browser, kept: Archive) -> None:
    from playwright.sync_api import expect

    with practising(kept) as (gate, _), page_of(chromium) as watched:
        page = watched.page
        page.goto(gate.address())
        page.locator("#start").wait_for()
        press_until(page, "Tab", "select[name=checklist]")
        page.keyboard.press("ArrowDown")
        press_until(page, "Tab", "#begin")
        page.keyboard.press("Enter")
        page.locator("#run").wait_for()
        page.keyboard.press(" ")  # the focus is still where it was, on no button of the run
        expect(page.locator("#state")).to_have_text("Paused")
        page.keyboard.press(" ")
        expect(page.locator("#state")).to_have_text("Listening")
        press_until(page, "Tab", "#by-hand summary")
        page.keyboard.press("Enter")
        press_until(page, "Tab", "#typed")
        page.keyboard.type("no carotid bruits bilaterally")
        page.keyboard.press("Enter")
        expect(page.locator("#log")).to_contain_text("bruit absent")
        expect(page.locator("#state")).to_have_text("Listening")  # letters that are typed are no directions
        page.locator("#main").focus()
        for key, text in (("l", "Not begun"), ("x", "Taken back: bruit absent"), ("u", "Put back"), ("w", "Neck")):
            page.keyboard.press(key)
            expect(page.locator("#answer-text")).to_contain_text(text)
        page.keyboard.press("c")
        expect(page.locator("#counting")).to_be_visible()
        page.keyboard.press("c")
        expect(page.locator("#counting")).to_be_hidden()
        page.keyboard.press("f")
        expect(page.locator("#over-title")).to_have_text("The run is kept")
        assert kept.run("last").head.checklist == "thorough"
        assert watched.errors == []


def press_until(page: Page, key: str, selector: str) -> None:
    """Presses a key until an element has the focus; it must be seen to have it."""
    for _ in range(60):
        page.keyboard.press(key)
        if page.evaluate("(wanted) => document.activeElement?.matches(wanted)", selector):
            outline = page.evaluate("() => getComputedStyle(document.activeElement).outlineStyle")
            assert outline != "none"
            return
    raise AssertionError(f"{selector} cannot be reached with {key}")


@pytest.mark.parametrize(("size", "scheme"), [*((size, "light") for size in SIZES), ("usual", "dark")])
def test_every_screen_is_accessible(chromium: Browser, kept: Archive, size: str, scheme: str) -> None:
    from playwright.sync_api import expect

    with practising(kept, grace_s=0.1) as (gate, practice), page_of(chromium, size, scheme) as watched:
        page = watched.page
        found: dict[str, list[str]] = {}

        def look(screen: str) -> None:
            found[screen] = [*accessibility_faults(page), *(["scrolls sideways"] if overflows(page) else [])]

        page.goto(gate.address())
        page.locator("#start").wait_for()
        look("start")
        page.click("#begin")
        page.locator("#run").wait_for()
        take(page, f"{SAID}recorder what is left")
        expect(page.locator("#answer")).to_be_visible()
        heard_weakly(practice, "pedal pulses two plus")
        expect(page.locator("#confirm")).to_be_visible()
        look("run")
        if size == "narrow":
            page.click("#strip-open")
            look("strip")
            page.click("#strip-open")
        else:  # all is in sight: the page itself never scrolls
            assert page.evaluate("() => document.documentElement.scrollHeight <= innerHeight")
        page.click("#confirm-list button >> nth=0")
        expect(page.locator("#confirm")).to_be_hidden()
        take(page, "recorder finish")
        expect(page.locator("#over")).to_be_visible()
        look("over")
        page.click("#another")
        page.locator("#start").wait_for()
        assert found == {name: [] for name in found}
        assert watched.errors == []


def heard_weakly(practice: Practice, text: str) -> None:
    """Words as the recogniser gives them when it is not sure."""
    session = practice.session
    assert session is not None
    words = [replace(word, confidence=0.3, doubt="heard weakly") for word in spoken(text, 1.0)]
    practice._do(lambda: session.hear(words))


def test_a_page_closed_and_opened_again_continues_the_run(chromium: Browser, kept: Archive) -> None:
    from playwright.sync_api import expect

    with practising(kept) as (gate, practice):
        with page_of(chromium) as watched:
            begin(watched.page, gate.address())
            take(watched.page, SAID)
            expect(watched.page.locator("#filed-sum")).to_have_text("2 entries")
        with page_of(chromium) as watched:
            watched.page.goto(gate.address())
            expect(watched.page.locator("#log")).to_contain_text("blood pressure 128/82 mmHg")
            expect(watched.page.locator("#state")).to_have_text("Listening")
            assert practice.session is not None
            before = practice.session.seconds
            watched.page.wait_for_timeout(700)
            assert practice.session.seconds > before + 0.3  # it is listened to again, without a touch
            assert watched.errors == []


def test_a_connection_that_breaks_is_made_again_and_no_sound_is_lost(chromium: Browser, kept: Archive) -> None:
    from playwright.sync_api import WebSocketRoute, expect

    routes: list[WebSocketRoute] = []

    def through(route: WebSocketRoute) -> None:
        routes.append(route)
        route.connect_to_server()

    with practising(kept) as (gate, practice), page_of(chromium) as watched:
        page = watched.page
        page.route_web_socket(re.compile("/practise/socket"), through)
        begin(page, gate.address())
        expect(page.locator("#level-word")).not_to_have_text("no sound")
        assert practice.session is not None
        began, heard = page.evaluate("() => performance.now()"), practice.session.seconds
        for _ in range(2):
            routes[-1].close()
            expect(page.locator("#state")).to_have_text("Reconnecting")
            expect(page.locator("#state")).to_have_text("Listening")
        page.wait_for_timeout(800)
        lasted = (page.evaluate("() => performance.now()") - began) / 1000
        assert practice.session.seconds - heard == pytest.approx(lasted, abs=0.35)
        expect(page.locator("#line")).to_be_hidden()
        assert len(routes) == 3


def test_a_microphone_that_is_lost_is_told_and_taken_again(chromium: Browser, kept: Archive) -> None:
    from playwright.sync_api import expect

    with practising(kept) as (gate, practice), page_of(chromium) as watched:
        page = watched.page
        page.add_init_script("""
            const open = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
            navigator.mediaDevices.getUserMedia = async (wanted) => (globalThis.stream = await open(wanted));
        """)
        begin(page, gate.address())
        expect(page.locator("#state")).to_have_text("Listening")
        page.evaluate("() => stream.getTracks()[0].stop()")
        page.evaluate("() => stream.getTracks()[0].dispatchEvent(new Event('ended'))")
        expect(page.locator("#state")).to_have_text("Microphone lost")
        expect(page.locator("#line")).to_contain_text("unplugged")
        expect(page.locator("#state")).to_have_text("Listening")
        expect(page.locator("#line")).to_be_hidden()
        assert practice.session is not None
        before = practice.session.seconds
        page.wait_for_timeout(700)
        assert practice.session.seconds > before + 0.3


@pytest.mark.skipif(not can_speak(), reason="no espeak-ng on this machine: answers are text alone")
def test_a_spoken_answer_is_played_and_not_heard_by_the_run(chromium: Browser, kept: Archive) -> None:
    from playwright.sync_api import expect

    with practising(kept) as (gate, practice), page_of(chromium) as watched:
        page = watched.page
        page.goto(gate.address())
        page.locator("#start").wait_for()
        page.check("input[value=loudspeaker]")
        page.click("#begin")
        expect(page.locator("#level-word")).to_have_text("too loud")  # the beep of the browser's own microphone
        take(page, f"{SAID}recorder read back")
        expect(page.locator("#level-word")).to_have_text("not heard while it answers")
        expect(page.locator("#level-word")).to_have_text("too loud")
        assert page.evaluate("() => document.getElementById('voice').duration") > 0.5
        page.wait_for_timeout(1000)
        assert practice.session is not None
        run = practice.session.id
        assert watched.errors == []
    whole = np.concatenate(list(sound_of(kept, run)))
    loud = np.flatnonzero(np.abs(whole.astype(np.int32)) > 3000) / 16000
    longest = np.diff(loud).max()  # the microphone beeps about once a second; our own voice takes longer
    assert longest > 1.5
    assert loud[-1] - loud[0] > longest + 0.1  # and there is sound beside it


def test_a_microphone_that_is_forbidden_is_told_and_words_can_be_typed(chromium: Browser, kept: Archive) -> None:
    from playwright.sync_api import expect

    with practising(kept) as (gate, _), page_of(chromium) as watched:
        page = watched.page
        page.add_init_script("""
            navigator.mediaDevices.getUserMedia = async () => { throw new DOMException("", "NotAllowedError"); };
        """)
        begin(page, gate.address())
        expect(page.locator("#state")).to_have_text("Microphone lost")
        expect(page.locator("#line")).to_contain_text("Allow it beside the address")
        take(page, SAID)
        expect(page.locator("#filed-sum")).to_have_text("2 entries")


def test_script_in_what_is_said_is_shown_as_text(chromium: Browser, kept: Archive) -> None:
    from playwright.sync_api import Error, expect

    attack = '<img src=x onerror="document.title=1"><script>document.title=2</script> no carotid bruits'
    with practising(kept) as (gate, _), page_of(chromium) as watched:
        page = watched.page
        begin(page, gate.address())
        take(page, attack)
        expect(page.locator("#words")).to_have_text(attack)
        expect(page.locator("#log")).to_contain_text("onerror")
        assert page.locator("main img, main script").count() == 0
        assert "Crownsole" in page.title()
        # The policy itself forbids what the page does not do.
        with pytest.raises(Error, match="TrustedHTML"):
            page.evaluate("() => { document.body.innerHTML = '<b>x</b>'; }")


def test_the_page_is_small_and_its_look_can_be_chosen(chromium: Browser, kept: Archive) -> None:
    with practising(kept) as (gate, _), page_of(chromium) as watched:
        page, sizes = watched.page, []
        page.on("response", lambda answer: sizes.append(len(answer.body())) if answer.status == 200 else None)
        begin(page, gate.address())
        page.wait_for_timeout(300)
        assert 20_000 < sum(sizes) < BYTES
        paper = "() => getComputedStyle(document.body).backgroundColor"
        light = page.evaluate(paper)
        for _ in range(2):  # as the system -> light -> dark
            page.click("#theme")
        dark = page.evaluate(paper)
        assert dark != light
        page.reload()
        page.locator("#run").wait_for()
        assert page.evaluate(paper) == dark
