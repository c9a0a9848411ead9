"""All species profiles at hand: those that come with dewkeep, and a keeper's own."""

import datetime as dt
from collections.abc import Iterable, Iterator
from pathlib import Path

from monitor.documents.problems import hint
from monitor.documents.toml import parse, read_toml
from monitor.errors import NotFound, Problem, SettingsError
from monitor.species.envelope import Envelope, envelope
from monitor.species.profile import Profile

SHIPPED = Path(__file__).parent / "profiles"


class Library:
    """Species profiles by id."""

    def __init__(self, profiles: Iterable[Profile]) -> None:
        self._profiles = {profile.id: profile for profile in profiles}
        self._envelopes: dict[tuple[frozenset[str], int], Envelope] = {}

    def __contains__(self, species: object) -> bool:
        return species in self._profiles

    def __iter__(self) -> Iterator[str]:
        return iter(self._profiles)

    def __len__(self) -> int:
        return len(self._profiles)

    def profile(self, species: str) -> Profile:
        """The profile with that id.

        Raises:
            NotFound: there is none.
        """
        if species not in self._profiles:
            raise NotFound(f"no species profile {species!r}{hint(species, self._profiles)}")
        return self._profiles[species]

    def profiles(self) -> list[Profile]:
        """All profiles, by id."""
        return [self._profiles[each] for each in sorted(self._profiles)]

    def envelope(self, species: Iterable[str], on_date: dt.date) -> Envelope:
        """What these species can share in the month of a day.

        It is remembered: of a thousand enclosures many hold the same company.

        Raises:
            NotFound: there is no profile of one of them.
        """
        company = frozenset(species), on_date.month
        if company not in self._envelopes:
            profiles = [self.profile(each) for each in sorted(company[0])]
            self._envelopes[company] = envelope(profiles, on_date)
        return self._envelopes[company]


def load_library(extra: Path | None = None) -> Library:
    """The profiles that come with dewkeep, and those in a keeper's own folder.

    A file of the same name in the keeper's folder takes the place of ours.

    Raises:
        SettingsError: lists all that is wrong in the files.
    """
    if extra is not None and not extra.is_dir():
        raise SettingsError([Problem(str(extra), "", "is no folder of species profiles")])
    files = {
        path.stem: path
        for folder in (SHIPPED, extra)
        if folder is not None
        for path in folder.glob("*.toml")
    }
    profiles: list[Profile] = []
    wrong: list[Problem] = []
    for _, path in sorted(files.items()):
        try:
            profiles.append(_read(path))
        except SettingsError as error:
            wrong += error.problems
    if wrong:
        raise SettingsError(wrong)
    return Library(profiles)


def _read(path: Path) -> Profile:
    profile = parse(Profile, read_toml(path), str(path))
    if profile.id != path.stem:
        says = f"is {profile.id!r}, so the file must be named {profile.id}.toml"
        raise SettingsError([Problem(str(path), "id", says)])
    return profile
