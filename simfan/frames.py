"""Frames for those who have pandas; simfan itself does not need it."""

from types import ModuleType

from simfan.errors import RunError


def loaded_pandas() -> ModuleType:
    """pandas, imported when it is first asked for. RunError, in words, where it is missing."""
    try:
        import pandas
    except ModuleNotFoundError as why:
        if why.name != "pandas":
            raise
        raise RunError(
            "to_pandas() needs pandas, which is not installed: pip install pandas. Without it "
            "History.columns() gives the same numbers as arrays, History.save_csv() as a file, "
            "and Comparison.to_json() as dicts") from None  # fmt: skip
    return pandas
