"""Back-off models: every context sums to one, mixing and pruning keep it so, smoothing is Witten and Bell's."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from listener.vocabulary.estimate import estimated, mixed, pruned
from listener.vocabulary.ngrams import BITS, Ngrams, Words, packed

ALPHABET = ["a", "b", "c", "d", "e"]
WORDS = Words.of(ALPHABET)
lines = st.lists(st.lists(st.sampled_from(ALPHABET), min_size=1, max_size=6), min_size=2, max_size=12)


def total_after(model: Ngrams, words: Words, *context: str) -> float:
    """Sum over every word of p(word | context)."""
    every = np.arange(words.size)
    columns = [np.full(words.size, words.ids[word]) for word in context]
    keys = packed(*columns, every) if columns else every
    chances = model.unigram if not columns else (model.after_one if len(columns) == 1 else model.after_two)(keys)
    return float(chances.sum())


def assert_sums_to_one(model: Ngrams) -> None:
    for context in [(), *((a,) for a in ("<s>", *ALPHABET)), *((a, b) for a in ("<s>", *ALPHABET) for b in ALPHABET)]:
        assert total_after(model, WORDS, *context) == pytest.approx(1.0, abs=1e-6), context


@settings(max_examples=60, deadline=None)
@given(lines)
def test_every_context_sums_to_one(text: list[list[str]]) -> None:
    assert_sums_to_one(estimated(text, WORDS))


@settings(max_examples=40, deadline=None)
@given(lines, lines, st.floats(0.05, 0.95))
def test_a_mixture_sums_to_one_and_lies_between(one: list[list[str]], other: list[list[str]], weight: float) -> None:
    first, second = estimated(one, WORDS), estimated(other, WORDS)
    both = mixed(first, second, weight, WORDS.start)
    assert_sums_to_one(both)
    assert both.unigram == pytest.approx(weight * first.unigram + (1 - weight) * second.unigram)
    keys = both.trigram_keys
    assert both.trigram == pytest.approx(weight * first.after_two(keys) + (1 - weight) * second.after_two(keys))


@settings(max_examples=40, deadline=None)
@given(lines, lines, st.floats(0.05, 0.95), st.floats(0.05, 1))
def test_parts_may_vary_with_the_context(
    one: list[list[str]], other: list[list[str]], weight: float, temper: float
) -> None:
    assert_sums_to_one(mixed(estimated(one, WORDS), estimated(other, WORDS), weight, WORDS.start, temper))


@settings(max_examples=40, deadline=None)
@given(lines, st.floats(0, 0.2))
def test_pruning_keeps_sums_and_removes_only_trigrams(text: list[list[str]], threshold: float) -> None:
    whole = estimated(text, WORDS)
    less = pruned(whole, threshold, WORDS.start)
    assert_sums_to_one(less)
    assert np.isin(less.trigram_keys, whole.trigram_keys).all()
    assert less.bigram == pytest.approx(whole.bigram)


def test_smoothing_follows_witten_and_bell() -> None:
    """p(b | a) = (c(ab) + T(a) p(b)) / (c(a) + T(a)), Witten and Bell 1991, method C, interpolated.

    Each kind of word counts twice in T, for what people say and templates do not.
    """
    model = estimated([["a", "b"], ["a", "b"], ["a", "c"]], WORDS)
    after_a = {word: float(model.after_one(packed(np.array([WORDS.ids["a"]]), np.array([WORDS.ids[word]])))[0])
               for word in ("b", "c")}
    # nine words are predicted: a three times, b twice, c once, the end three times
    assert after_a["b"] == pytest.approx((2 + 4 * 2 / 9) / (3 + 4))
    assert after_a["c"] == pytest.approx((1 + 4 * 1 / 9) / (3 + 4))


def test_words_that_were_never_said_have_no_chance_until_mixed() -> None:
    domain = estimated([["a", "b"]], WORDS)
    general = estimated([["d", "e"]], WORDS)
    assert domain.unigram[WORDS.ids["d"]] == 0
    assert mixed(domain, general, 0.7, WORDS.start).unigram[WORDS.ids["d"]] == pytest.approx(0.3 / 3)


@given(lines, st.sets(st.sampled_from("abcde")))
def test_a_model_within_some_words_sums_to_one_and_foresees_the_rest(text: list[list[str]], kept: set[str]) -> None:
    whole = estimated(text, WORDS)
    known = np.zeros(WORDS.size, bool)
    known[[WORDS.ids[word] for word in kept] + [WORDS.start]] = True
    less = whole.within(known)
    assert_sums_to_one(less)
    assert less.unigram == pytest.approx(whole.unigram)
    assert known[less.bigram_keys >> BITS].all()
