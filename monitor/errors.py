"""Every error dewkeep raises on purpose, in one tree.

    DewkeepError
    ├── SettingsError      settings or set-up that cannot be used (names file and key)
    ├── PayloadError       a message that cannot become readings (carries a countable reason)
    ├── StoreError         the database cannot do what was asked
    │   └── StoreUnavailable   it cannot just now: keep, retry, tell
    ├── PictureError       a file that cannot be kept as a photo
    ├── DeliveryError      a notification did not leave
    ├── PeerError          another daemon of the house did not tell what it watches
    ├── NotFound           no such enclosure, probe, alarm or species
    └── Conflict           the thing exists, but its state forbids what was asked

Edges turn foreign exceptions into these in one place, with ``from exc``.
"""

from dataclasses import dataclass


class DewkeepError(Exception):
    """Base of all errors that dewkeep raises on purpose."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong in a file a keeper wrote: where it stands and what would be right."""

    file: str
    key: str
    says: str

    def __str__(self) -> str:
        return f"{self.file}: {self.key}: {self.says}" if self.key else f"{self.file}: {self.says}"


class SettingsError(DewkeepError):
    """Settings, a set-up or a profile cannot be used; ``problems`` lists all that is wrong."""

    def __init__(self, problems: list[Problem]) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = problems


class PayloadError(DewkeepError):
    """A message cannot be turned into readings.

    ``reason`` is a short fixed word that rejections are counted by, ``says`` names field and value.
    """

    def __init__(self, reason: str, says: str) -> None:
        super().__init__(says)
        self.reason = reason
        self.says = says


class StoreError(DewkeepError):
    """The database cannot do what was asked."""


class StoreUnavailable(StoreError):
    """The database cannot do it just now; the caller keeps what it has and tries again."""


class PictureError(DewkeepError):
    """A file cannot be kept as a photo; the message says what would be right."""


class DeliveryError(DewkeepError):
    """A notification did not leave; ``retry`` says whether trying again can help."""

    def __init__(self, says: str, *, retry: bool = True, after_s: float | None = None) -> None:
        super().__init__(says)
        self.retry = retry
        self.after_s = after_s


class PeerError(DewkeepError):
    """Another daemon of the house did not tell what it watches; ``refused``: it knows us not."""

    def __init__(self, says: str, *, refused: bool = False) -> None:
        super().__init__(says)
        self.refused = refused


class NotFound(DewkeepError):
    """No such enclosure, probe, alarm or species."""


class Conflict(DewkeepError):
    """The thing exists, but its state forbids what was asked."""
