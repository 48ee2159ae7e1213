"""Hearing the trade: a language model compiled from the lexicon into a copy of the acoustic model.

``compiled(model, lexicon)`` gives a model to hear with; its ``restore`` turns what is heard into words.
``explain(term, compiled, lexicon)`` tells how a term is heard.
"""

from listener.vocabulary.building import STANDARD, Recipe
from listener.vocabulary.cache import CompiledModel, compiled
from listener.vocabulary.explaining import Explanation, explain
from listener.vocabulary.mapping import Restorer, Way

__all__ = ["STANDARD", "CompiledModel", "Explanation", "Recipe", "Restorer", "Way", "compiled", "explain"]
