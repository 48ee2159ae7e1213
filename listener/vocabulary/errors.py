"""What can go wrong when a vocabulary is compiled, in one sentence for people."""

from __future__ import annotations


class VocabularyError(Exception):
    """The vocabulary cannot be compiled; the message says what was wrong, where, and what to do."""
