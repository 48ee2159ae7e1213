"""A reviewer's table: words that have no place in a remark, and why. The reviewer is a careful educator."""

from __future__ import annotations

#: Why -> patterns that have no place in a remark about a person.
FORBIDDEN: dict[str, tuple[str, ...]] = {
    "names a diagnosis": (
        r"\bdiagnos(is|es|ed|e)\b",
        r"\b(pneumonia|sepsis|septic|stroke|infarction|thrombosis|embolism|meningitis|appendicitis|peritonitis)\b",
        r"\b(heart failure|aneurysm|ischemia|compartment syndrome|pneumothorax|overload|obstruction|delirium)\b",
    ),
    "judges instead of giving the number": (
        r"\b(hypertension|hypotension|hypertensive|hypotensive|bradycardia|tachycardia)\b",
        r"\b(hypoxia|hypoxemia|anaphylaxis)\b",
    ),
    "orders a treatment": (
        r"\b(give|administer|inject|infuse|titrate|prescribe|medicate|start oxygen|apply oxygen|bolus)\b",
        r"\b(antibiotic|naloxone|insulin|dextrose|aspirin|heparin|diuretic|fluids)\b",
    ),
    "interprets": (r"\bconsistent with\b", r"\bindicative of\b", r"\bsuggests?\b", r"\brule out\b", r"\bsuffer"),
    "blames": (r"\byou (must|failed|forgot|should have)\b", r"\bcareless\b", r"\bnegligen"),
    "judges the person": (r"\bthe patient has\b", r"\bis (sick|ill|dying|critical)\b"),
    "threatens": (r"\b(unsafe|malpractice|liab)",),
    "claims more certainty than there is": (r"\bdefinitely\b", r"\bcertainly\b", r"\bproves?\b"),
}

#: Words in which a pattern is allowed, as they deny it.
ALLOWED = ("no diagnosis", "is no proof")
