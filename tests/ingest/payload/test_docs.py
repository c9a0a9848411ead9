"""docs/payloads.md says what the code does."""

import json
import re
import tomllib
from pathlib import Path

import pytest

from monitor.ingest.payload import Rejection, decoder_for
from monitor.ingest.payload.decoded import MAX_BYTES
from monitor.ingest.payload.units import UNITS
from monitor.quantities import MEASURED, Quantity
from monitor.setup.models import Probe
from monitor.setup.sources import Level, PayloadKind, Source, TimeUnit

DOCS = (Path(__file__).parents[3] / "docs" / "payloads.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    """The fenced blocks of one language."""
    return re.findall(rf"```{language}\n(.*?)```", DOCS, re.DOTALL)


@pytest.mark.parametrize("reason", Rejection)
def test_every_reason_is_explained(reason: Rejection) -> None:
    """The table of reasons has a row for each, in the words of the code."""
    assert f"| `{reason}` | {reason.meaning} | {reason.advice} |\n" in DOCS


def test_no_reason_is_explained_that_does_not_exist() -> None:
    """The table of reasons has no row too many."""
    table = DOCS.split("| reason |", 1)[1].split("\n\n", 1)[0]

    assert re.findall(r"^\| `(\w+)` \|", table, re.MULTILINE) == list(Rejection)


@pytest.mark.parametrize("quantity", MEASURED)
def test_every_quantity_stands_with_its_units(quantity: Quantity) -> None:
    """The table of quantities names the own unit first, then all others that are taken."""
    (row,) = re.findall(rf"^\| `{quantity}` \| (.*) \|$", DOCS, re.MULTILINE)
    own, others = row.split(" |", 1)

    assert own == f"`{MEASURED[quantity].unit}`"
    assert [own.strip("`"), *re.findall(r"`(.+?)`", others)] == list(UNITS[quantity])


def test_every_word_of_a_source_is_explained() -> None:
    """Each key, level, kind and time unit of a source occurs."""
    for key in Source.model_fields:
        assert re.search(rf"\b{key}\b", DOCS), key
    for level in Level:
        assert f"`{{{level}}}`" in DOCS
    for kind in PayloadKind:
        assert f'payload = "{kind}"' in DOCS
    for unit in TimeUnit:
        assert f'`"{unit}"`' in DOCS
    assert f"{MAX_BYTES // 1024} KiB" in DOCS


@pytest.mark.parametrize("text", blocks("toml"))
def test_examples_of_settings_can_be_read(text: str) -> None:
    """Every example of a source is one, that of a probe's device is one."""
    document = tomllib.loads(text)
    sources = [Source.model_validate(each) for each in document.pop("source", ())]
    probes = [Probe.model_validate(each) for each in document.pop("enclosure", {}).get("probe", ())]
    assert sources or [each.device for each in probes] == ["0x01"]
    assert not document


@pytest.mark.parametrize("text", blocks("json"))
def test_examples_of_messages_can_be_read(text: str) -> None:
    """The example message gives a reading for each of its records, and no rejects."""
    decoded = decoder_for(Source(topic="dewkeep/{enclosure}/{probe}"))(text.encode(), 0)

    assert len(decoded.numbers) == len(json.loads(text))
    assert not decoded.rejects
