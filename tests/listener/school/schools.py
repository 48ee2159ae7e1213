"""A school to test with: two learners with a run each, an educator, an administrator; a server; ways to ask it."""

from __future__ import annotations

import http.client
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlencode

from argon2 import PasswordHasher

from listener.archive import Archive
from listener.archive.keeping import keep
from listener.errors import ModelError
from listener.pages import marking
from listener.pages.guard import TOKEN_HEADER
from listener.pages.review import UPLOADS, routes
from listener.pages.review_desk import Desk
from listener.pages.review_taking import Taking
from listener.pages.serving import running
from listener.runs import Options
from listener.school.door import Public
from listener.school.passwords import Passwords
from listener.school.people import People
from listener.school.starting import School
from parser.transcript import transcript_of_text
from tests.listener.sessions import LEXICON

#: As strong as argon2 is here, so quick: the work of the tests is not to wait.
QUICK = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
PASSWORDS = {
    "anna": "seven green lanterns", "ben": "a cupboard of maps", "teach": "quiet morning harbour",
    "keeper": "the kettle sings low", "gone": "an old wooden gate",
}
#: Said in the runs of one learner alone.
SECRETS = {"anna": "lungs clear zebra", "ben": "abdomen soft quagga"}
FORM = "application/x-www-form-urlencoded"


class Clock:
    """Seconds since 1970, moved by hand."""

    def __init__(self) -> None:
        self.now = 1_800_000_000.0

    def __call__(self) -> float:
        return self.now


@dataclass
class Set:
    """A served school."""

    archive: Archive
    people: People
    clock: Clock
    port: int
    origin: str
    runs: dict[str, str]
    app: object = None

    def browser(self) -> Browser:
        return Browser(self)

    def signed_in(self, name: str) -> Browser:
        browser = Browser(self)
        answer = browser.sign_in(name)
        assert answer.status == 303, answer.text
        return browser


@dataclass(frozen=True)
class Answer:
    status: int
    headers: Mapping[str, str]
    text: str
    cookies: tuple[str, ...] = ()


@dataclass
class Browser:
    """Sends what it is told, with the cookies it was given; what any other program could send too."""

    school: Set
    cookie: str = ""
    token: str = ""
    more: dict[str, str] = field(default_factory=dict)

    def get(self, path: str, **headers: str) -> Answer:
        return self.ask("GET", path, headers={"Accept": "text/html", **headers})

    def post(self, path: str, form: Mapping[str, str], **headers: str | None) -> Answer:
        sent = urlencode({"token": self.token, **form})
        return self.ask("POST", path, sent.encode(), {"Content-Type": FORM, **self._ours(), **headers})

    def send(self, path: str, body: str, method: str = "POST", **headers: str | None) -> Answer:
        """As the script of a page sends it."""
        ours = {"Content-Type": "application/json", TOKEN_HEADER: self.token, **self._ours(), **headers}
        return self.ask(method, path, body.encode(), ours)

    def sign_in(self, name: str, password: str | None = None, after: str = "/", **headers: str | None) -> Answer:
        form = {"name": name, "password": PASSWORDS.get(name, "") if password is None else password, "next": after}
        answer = self.post("/sign-in", form, **headers)
        if answer.status == 303:
            self.token = self.proof()
        return answer

    def proof(self) -> str:
        """The token of a page of this session."""
        found = re.search(r'name="crownsole-token" content="([^"]*)"', self.get("/account").text)
        assert found is not None
        return found.group(1)

    def ask(
        self, method: str, path: str, body: bytes = b"", headers: Mapping[str, str | None] | None = None
    ) -> Answer:
        sent = {"Host": self.school.origin.partition("//")[2], "Cookie": self.cookie, **self.more, **(headers or {})}
        connection = http.client.HTTPConnection("127.0.0.1", self.school.port, timeout=20)
        try:
            connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            for name, value in sent.items():
                if value is not None and value != "":
                    connection.putheader(name.replace("_", "-"), value)
            if method not in ("GET", "HEAD"):
                connection.putheader("Content-Length", str(len(body)))
            connection.endheaders(body or None)
            made = connection.getresponse()
            cookies = tuple(value for name, value in made.getheaders() if name.lower() == "set-cookie")
            answer = Answer(made.status, {k.lower(): v for k, v in made.getheaders()},
                            made.read().decode("utf-8", "replace"), cookies)
        finally:
            connection.close()
        for cookie in cookies:
            self.cookie = "" if "Max-Age=0" in cookie else cookie.partition(";")[0]
        return answer

    def _ours(self) -> dict[str, str]:
        return {"Origin": self.school.origin, "Sec-Fetch-Site": "same-origin"}


@contextmanager
def served(archive: Archive, origin: str = "") -> Iterator[Set]:
    """A school on a port of its own; ``origin`` the address by which it is known, else that of the port."""
    passwords, clock = Passwords(QUICK), Clock()
    people = People(archive, passwords)
    runs = {name: _kept(archive, SECRETS[name], learner) for name, learner in (("anna", "L-1"), ("ben", "L-2"))}
    runs["nobody"] = _kept(archive, "heart rate seventy okapi", None)
    people.add("anna", "learner", "L-1", PASSWORDS["anna"])
    people.add("ben", "learner", "L-2", PASSWORDS["ben"])
    people.add("teach", "educator", None, PASSWORDS["teach"])
    people.add("keeper", "administrator", None, PASSWORDS["keeper"])
    people.add("gone", "learner", "L-3", PASSWORDS["gone"])
    people.add("blank", "learner", "L-4")
    people.disable("gone")

    def deaf(progress: object) -> object:
        raise ModelError("There is no model in this test.")

    desk = Desk(archive)
    room = [*routes(desk, Taking(archive, deaf, Options())), *marking.routes(desk)]  # type: ignore[arg-type]
    made: dict[str, object] = {}

    def app(gate: object) -> object:
        address = origin or f"http://127.0.0.1:{gate.port}"  # type: ignore[attr-defined]
        made["origin"] = address
        made["app"] = School(archive, Public(address, UPLOADS), passwords, clock).app(room)
        return made["app"]

    with running(app) as gate:  # type: ignore[arg-type]
        yield Set(archive, people, clock, gate.port, str(made["origin"]), runs, made["app"])


def _kept(archive: Archive, said: str, learner: str | None) -> str:
    return keep(archive, transcript_of_text(said, "monday.txt"), LEXICON, learner=learner).run.id


def sample(folder: Path, text: str) -> Path:
    path = folder / "mine.txt"
    path.write_text(text, encoding="utf-8")
    return path
