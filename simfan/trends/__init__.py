"""Recorded trends: read, mapped to the signals of the glossary, judged like a run."""
