"""All knowledge of Crownsole, as data, and the reader that refuses bad knowledge."""

from lexicon.loading import ANY, DATA, Lexicon, load
from lexicon.reading import LexiconError

__all__ = ["ANY", "DATA", "Lexicon", "LexiconError", "load"]
