"""Values computed from what was said: each with formula, unit, source and the entries it comes from."""

from parser.scores.compute import computed

__all__ = ["computed"]
