"""Marking of kept runs and of files: what the tool proposes, what a person gives, and how far the two agree."""
