"""Nurses' dictations by others against our record: the open data set SYNUR (Corbeil et al., EMNLP Industry 2025)."""
