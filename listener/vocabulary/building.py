"""Compiles the language model of an acoustic model anew, with the dictation of a lexicon mixed in."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from lexicon import Lexicon
from listener.bars import Progress, silent
from listener.errors import ModelError
from listener.vocabulary.estimate import estimated, mixed, pruned
from listener.vocabulary.fst import write_const
from listener.vocabulary.graph import grammar, respelled
from listener.vocabulary.joining import joined
from listener.vocabulary.mapping import Restorer, Way
from listener.vocabulary.ngrams import Words
from listener.vocabulary.pronounced import pronunciations
from listener.vocabulary.stock import StockModel, read_stock
from listener.vocabulary.text import Reader, ways_to_hear, written

#: Words that any English model has.
_ENGLISH = ("the", "left", "right", "no", "and", "normal", "over", "pain")


@dataclass(frozen=True)
class Recipe:
    """``weight``: the share of dictation in its own grammar, the rest being everyday speech in the same words;
    ``temper``: how far that varies with the context; ``prune``: trigrams that matter less are left out.
    ``begins``, ``returns``: see :func:`~listener.vocabulary.joining.joined`."""

    weight: float = 0.8
    temper: float = 0.25
    prune: float = 1e-10
    begins: float = 0.95
    returns: float = 0.1


STANDARD = Recipe()
#: Steps that progress is told of.
STEPS = 5


def build(
    model_folder: Path, lexicon: Lexicon, folder: Path, recipe: Recipe = STANDARD, progress: Progress = silent
) -> None:
    """Write ``Gr.fst``, ``words.txt`` and ``ways.json`` into ``folder``.

    ``model_folder`` holds the acoustic model.
    Raises :class:`ModelError` (damaged, or of another language), :class:`LexiconInvalid` (words that cannot be
    heard) and OSError.
    """
    progress("reading the stock language model", 0, STEPS)
    stock = read_stock(model_folder / "graph" / "Gr.fst")
    words = Words.of(stock.symbols)
    _check_language(words, model_folder)
    progress("writing dictation from the lexicon", 1, STEPS)
    reader = Reader(lexicon, words)
    text = written(reader)
    progress("spelling trade words by sound", 2, STEPS)
    ways = ways_to_hear(text, reader, stock.ngrams, pronunciations(model_folder, stock.symbols))
    progress("mixing the language models", 3, STEPS)
    words = words.with_words(sorted(text.trade))
    domain = estimated(text.lines, words)
    known = domain.unigram > 0
    known[words.start] = True
    general = stock.ngrams.resized(words.size).within(known)
    model = pruned(mixed(domain, general, recipe.weight, words.start, recipe.temper), recipe.prune, words.start)
    progress("writing the language model", 4, STEPS)
    dictation, everyday = grammar(model, words), grammar(stock.ngrams, words)
    both = joined(dictation, everyday, known, begins=recipe.begins, returns=recipe.returns)
    write_const(respelled(both, words, _by_word(ways)), folder / "Gr.fst")
    write_words(stock, folder / "words.txt")
    Restorer(ways).save(folder / "ways.json")


def _by_word(ways: Iterable[Way]) -> dict[str, list[tuple[str, ...]]]:
    spellings: dict[str, list[tuple[str, ...]]] = defaultdict(list)
    for way in ways:
        spellings[way.word].append(way.pieces)
    return spellings


def _check_language(words: Words, path: Path) -> None:
    missing = [word for word in _ENGLISH if word not in words.ids]
    if missing:
        raise ModelError(
            f"The model of {path} does not know '{missing[0]}': it seems to be of another language; "
            "Crownsole needs an English model"
        )


def write_words(stock: StockModel, path: Path) -> None:
    """The recogniser's list of words and labels; labels without a word get a name of their own."""
    rows = (f"{word or f'<unused-{i}>'} {i}\n" for i, word in enumerate(stock.symbols))
    path.write_text("".join(rows), encoding="utf-8")
