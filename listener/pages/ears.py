"""What hears a run on the page: made once for each choice of packs, in the engine's own time."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from listener.bars import Progress, silent
from listener.runs import Options, lexicon_of, prepare_ears

if TYPE_CHECKING:
    from lexicon import Lexicon
    from listener.session import Listen
    from parser.record import ModelInfo


@dataclass(frozen=True, slots=True)
class Hears:
    """A lexicon, and what listens with its words; ``listen`` None: words can only be typed."""

    lexicon: Lexicon
    listen: Listen | None
    model: ModelInfo | None


class Hearers(Protocol):
    """Makes what hears with some packs. Raises :class:`listener.errors.CrownsoleError`."""

    def of(self, packs: tuple[str, ...], progress: Progress = silent) -> Hears: ...


@dataclass(slots=True)
class ModelHearers:
    """Hearers with the acoustic model; the ones made are kept."""

    model: Path | None = None
    stock: bool = False
    _made: dict[tuple[str, ...], Hears] = field(default_factory=dict)

    def of(self, packs: tuple[str, ...], progress: Progress = silent) -> Hears:
        if packs not in self._made:
            self._made[packs] = self._make(Options(packs), progress)
        return self._made[packs]

    def _make(self, options: Options, progress: Progress) -> Hears:
        from listener.recognizer import Recognizer

        progress("Reading the lexicon")
        lexicon = lexicon_of(options)
        ears = prepare_ears(self.model, options, stock=self.stock, progress=progress)
        progress("Loading the model")
        return Hears(lexicon, Recognizer(ears.folder, restore=ears.restore).stream, ears.info)
