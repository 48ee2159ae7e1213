"""The loss from sound: dictations spoken by four voices, heard by our recogniser, then understood.

    python -m tests.bench.synur.sound FILE.jsonl [--step 10] [--folds 5]

Every ``step``-th dictation is spoken by each of the voices in turn (one voice a dictation) and scored beside its
text as written, by a model that learnt from neither: the folds of the cross-validation decide. Needs the shared
development data, its voices, and the acoustic model.
"""

from __future__ import annotations

import argparse

import lexicon
from listener.model import find_model
from listener.recognizer import Recognizer
from listener.vocabulary import compiled
from tests.bench.dictation import said
from tests.bench.hearing import hear
from tests.bench.synur.features import case_of, cases_of
from tests.bench.synur.learning import decide, folds, observations, train
from tests.bench.synur.scoring import READINGS, score

VOICES = ("flite:rms", "espeak:en-us", "flite:slt", "festival:cmu_us_slt_arctic_hts")


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("file")
    options.add_argument("--step", type=int, default=10)
    options.add_argument("--folds", type=int, default=5)
    given = options.parse_args()
    cases = cases_of(given.file)
    spoken = list(range(0, len(cases), given.step))
    sounds = [said(VOICES[k % len(VOICES)], cases[i].text) for k, i in enumerate(spoken)]
    made = compiled(find_model(fetch=False), lexicon.load())
    heard = hear(sounds, Recognizer(made.folder, restore=made.restore))
    ours: dict[str, dict[int, list[dict[str, object]]]] = {"as written": {}, "heard": {}}
    for known, kept in folds(cases, given.folds):
        if not (here := [i for i in kept if i in spoken]):
            continue
        model = train([cases[i] for i in known])
        for i in here:
            ours["as written"][i] = observations(decide(model, cases[i]))
            ours["heard"][i] = observations(
                decide(model, case_of({"id": cases[i].id, "text": heard.texts[spoken.index(i)]}))
            )
    print(f"{len(spoken)} dictations, {len(VOICES)} voices, hearing at {heard.real_time:.2f} of real time")
    for reading in READINGS:
        for name, found in ours.items():
            print(
                score([cases[i].gold or [] for i in spoken], [found[i] for i in spoken], reading)[0].line(
                    f"{name}, {reading}"
                )
            )


if __name__ == "__main__":
    main()
