"""Species profiles over HTTP."""

import httpx

from tests.support.house import House


def test_all_profiles_with_their_provenance(house: House) -> None:
    """Every number says where it comes from."""
    profiles = house.http.get("/api/v1/species").json()

    assert {profile["id"] for profile in profiles} == set(house.parts.library)
    assert all(need["basis"] for profile in profiles for need in profile["range"])
    assert house.http.get("/api/v1/species/correlophus-ciliatus").json() in profiles


def test_a_species_nobody_described(http: httpx.Client) -> None:
    """Not found, with the likeliest one meant."""
    answer = http.get("/api/v1/species/correlophus-ciliatos")

    assert answer.status_code == 404
    assert "did you mean 'correlophus-ciliatus'" in answer.json()["detail"]
