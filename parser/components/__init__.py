"""The components of the pipeline, one a file.

A component is a pure function over tokens and earlier layers, and a small registered wrapper that
reads those layers from the Doc and writes its own. :mod:`parser.components.layer` holds the names.
"""
