"""Hears everyday speech with the compiled vocabulary and counts directions that nobody gave.

Speech: the recordings listed in ``speech/manifest.tsv`` of the development data (public domain and open licences;
their README names them). Each is a run of its own.

    python -m tests.bench.false_directions
"""

from __future__ import annotations

from lexicon import load
from listener.archive.events import Event, Head
from listener.hear import hear_file
from listener.replay import begun, utterance_body
from listener.runs import Options, prepare_ears
from tests.shared import SHARED


def main() -> None:
    if SHARED is None:
        raise SystemExit("The development data is absent: set CROWNSOLE_SHARED to its folder.")
    folder = SHARED / "data" / "speech"
    lines = (folder / "manifest.tsv").read_text(encoding="utf-8").splitlines()[1:]
    ears, lexicon = prepare_ears(None, Options()), load()
    seconds, utterances, named, directions = 0.0, 0, [], []
    for line in lines:
        name = line.split("\t")[0]
        transcript = hear_file(folder / name, ears.folder, restore=ears.restore)
        state = begun(Head("000000", "live", name, "2026-01-01T00:00:00+00:00", lexicon.version), lexicon)
        for number, utterance in enumerate(transcript.utterances, 1):
            out = state.take(Event(number, "utterance", "2026-01-01T00:00:00+00:00", utterance_body(utterance)))
            directions += [(name, body["id"]) for kind, body in out if kind == "direction"]
            named += [(name, utterance.text)] if "recorder" in utterance.text else []
        seconds += transcript.duration_s or 0.0
        utterances += len(transcript.utterances)
    print(
        f"{len(lines)} recordings, {seconds / 60:.1f} min, {utterances} utterances: "
        f"{len(directions)} directions, {len(named)} utterances with the name"
    )
    for one in (*directions, *named):
        print(" ", *one)


if __name__ == "__main__":
    main()
