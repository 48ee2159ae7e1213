"""Who asks for a page. On loopback there is one user and nothing to tell; the server mode names a visitor."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.requests import HTTPConnection

VISITOR, TOKEN = "crownsole.visitor", "crownsole.token"


@dataclass(frozen=True, slots=True)
class Visitor:
    """Someone with an account. ``learner``: only this learner's runs are shown, and new ones are theirs (None: all
    runs). ``role`` in a word, ``removes`` whether runs may be removed.
    """

    name: str
    role: str
    learner: str | None
    removes: bool


def visitor_of(request: HTTPConnection) -> Visitor | None:
    """The visitor of a request; None where there are no accounts."""
    found = request.scope.get(VISITOR)
    assert found is None or isinstance(found, Visitor)
    return found


def token_of(request: HTTPConnection) -> str:
    """What this visitor's pages send back with every change."""
    token = request.scope.get(TOKEN)
    return str(request.app.state.gate.token if token is None else token)
