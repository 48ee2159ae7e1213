"""Recipe of ``model.json``: ``python -m tests.bench.synur.train FILE.jsonl`` (the data set's training part)."""

from __future__ import annotations

import argparse

from tests.bench.synur.features import cases_of
from tests.bench.synur.learning import MODEL, save, train


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("file")
    cases = cases_of(options.parse_args().file)
    model = train(cases)
    save(model)
    size = MODEL.stat().st_size / 1e6
    print(f"{len(cases)} dictations, {len(model.judges)} judges, threshold {model.threshold}, {size:.2f} MB")


if __name__ == "__main__":
    main()
