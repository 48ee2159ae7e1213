"""A reviewer's table: words that have no place in a remark, and why. The reviewer is a careful educator."""

from __future__ import annotations

#: Pattern -> why it has no place in a remark about a person.
FORBIDDEN: dict[str, str] = {
    r"\bdiagnos(is|es|ed|e)\b(?! of a person)": "names a diagnosis",
    r"\b(pneumonia|sepsis|septic|stroke|infarction|thrombosis|embolism|meningitis|appendicitis|peritonitis)\b": "names a diagnosis",
    r"\b(hypertension|hypotension|hypertensive|hypotensive|bradycardia|tachycardia|hypoxia|hypoxemia|anaphylaxis)\b": "judges instead of giving the number",
    r"\b(heart failure|aneurysm|ischemia|compartment syndrome|pneumothorax|overload|obstruction|delirium)\b": "names a diagnosis",
    r"\b(give|administer|inject|infuse|titrate|prescribe|medicate|start oxygen|apply oxygen|bolus)\b": "orders a treatment",
    r"\b(antibiotic|naloxone|insulin|dextrose|aspirin|heparin|diuretic|fluids)\b": "orders a treatment",
    r"\bconsistent with\b|\bindicative of\b|\bsuggests?\b|\brule out\b|\bsuffer(s|ing)?\b": "interprets",
    r"\byou (must|failed|forgot|should have)\b|\bcareless\b|\bnegligen": "blames",
    r"\bthe patient has\b|\bis (sick|ill|dying|critical)\b": "judges the person",
    r"\b(unsafe|malpractice|liab)": "threatens",
    r"\bdefinitely\b|\bcertainly\b|\bproves?\b": "claims more certainty than there is",
}

#: Words around which a pattern is allowed, as they deny it.
ALLOWED = ("no diagnosis", "is no proof", "never as diagnosis")
