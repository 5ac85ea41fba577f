"""The errors that lawnplat raises on purpose.

    LawnplatError
    +-- SurveyError    (ValueError)    a file, layer or feature cannot be used
    +-- SettingsError  (ValueError)    a rule book, machine class, price book or field map is wrong
    +-- NotPlannable   (RuntimeError)  the files are sound, the ground cannot take a plan
    +-- DeliveryError  (OSError)       a result cannot be written where it was asked for

Each message says where, what was found and what to do, in one or two lines.
"""

from __future__ import annotations


class LawnplatError(Exception):
    """Root of every error raised on purpose.

    Parameters
    ----------
    where : str
        File, layer, feature or key at fault.
    what : str
        What is wrong, with the value found.
    remedy : str, optional
        What the reader can do about it.
    """

    def __init__(self, where: str, what: str, remedy: str = "") -> None:
        self.where = where
        self.what = what
        self.remedy = remedy
        text = f"{where}: {what}" if where else what
        super().__init__(f"{text}\n  {remedy}" if remedy else text)

    def __reduce__(self) -> tuple[type[LawnplatError], tuple[str, str, str]]:
        """Keep the three parts when an error crosses from a worker process."""
        return type(self), (self.where, self.what, self.remedy)


class SurveyError(LawnplatError, ValueError):
    """A survey file, layer or feature cannot be used."""


class SettingsError(LawnplatError, ValueError):
    """A settings file holds a key or a value that cannot be used."""


class NotPlannable(LawnplatError, RuntimeError):
    """The files are sound but the ground cannot take a plan."""


class DeliveryError(LawnplatError, OSError):
    """A result cannot be written where it was asked for."""
