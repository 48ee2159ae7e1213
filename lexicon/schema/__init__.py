"""One typed model for each kind of lexicon file."""

from lexicon.schema.audit import (
    CautionsFile,
    ChecklistFile,
    ContradictionsFile,
    DetailsFile,
    OrderFile,
    SidesFile,
    TimingFile,
)
from lexicon.schema.base import Entry
from lexicon.schema.cues import Cue, CuesFile
from lexicon.schema.findings import Concept, FindingsFile, Region, RegionsFile, Site, Source, SourcesFile
from lexicon.schema.measures import MeasuresFile, NumbersFile, ScalesFile
from lexicon.schema.note import NoteFile
from lexicon.schema.rubric import RubricFile
from lexicon.schema.scores import RangesFile, ScoresFile
from lexicon.schema.speech import PhrasesFile, SpeechFile
from lexicon.schema.words import (
    AsideCue,
    Comparison,
    CorrectionCue,
    Direction,
    DirectionsFile,
    LateralityFile,
    Mishearing,
    MishearingsFile,
    SideForm,
    SpellingFile,
)

#: File name (or folder) in ``data/`` -> its model. A folder holds one file a station.
FILES: dict[str, type[Entry]] = {
    "sources.yaml": SourcesFile,
    "regions.yaml": RegionsFile,
    "findings": FindingsFile,
    "phrases.yaml": PhrasesFile,
    "speech.yaml": SpeechFile,
    "numbers.yaml": NumbersFile,
    "measures.yaml": MeasuresFile,
    "scales.yaml": ScalesFile,
    "cues.yaml": CuesFile,
    "spelling.yaml": SpellingFile,
    "directions.yaml": DirectionsFile,
    "laterality.yaml": LateralityFile,
    "mishearings.yaml": MishearingsFile,
    "checklist": ChecklistFile,
    "order.yaml": OrderFile,
    "timing.yaml": TimingFile,
    "sides.yaml": SidesFile,
    "details.yaml": DetailsFile,
    "contradictions.yaml": ContradictionsFile,
    "cautions.yaml": CautionsFile,
    "ranges.yaml": RangesFile,
    "scores.yaml": ScoresFile,
    "note.yaml": NoteFile,
    "rubric.yaml": RubricFile,
}

__all__ = [
    "FILES",
    "AsideCue",
    "Comparison",
    "Concept",
    "CorrectionCue",
    "Cue",
    "CuesFile",
    "Direction",
    "DirectionsFile",
    "Entry",
    "FindingsFile",
    "LateralityFile",
    "Mishearing",
    "MishearingsFile",
    "Region",
    "RegionsFile",
    "SideForm",
    "Site",
    "Source",
    "SourcesFile",
    "SpellingFile",
]
