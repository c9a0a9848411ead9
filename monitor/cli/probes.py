"""``dewkeep probes``: can they be believed, and what to do about those that cannot."""

import json
import time
from typing import Any

import click

from monitor.cli.options import config_option
from monitor.cli.stores import stores
from monitor.jobs.trusting import Trusting
from monitor.setup.settings import Settings


@click.command("probes")
@click.argument("place", required=False)
@click.option("--json", "as_json", is_flag=True, help="What the API would answer.")
@config_option
def command(place: str | None, as_json: bool, settings: Settings) -> None:
    """Check the probes of PLACE, a room or enclosure, or of all: maintenance that is due."""
    now_ms = time.time_ns() // 1_000_000
    with stores(settings) as (database, readings):
        trusting = Trusting(database, readings)
        found = (
            trusting.everywhere(now_ms, fresh=True)
            if place is None
            else [trusting.of(place, now_ms, fresh=True)]
        )
    if as_json:
        click.echo(json.dumps(found if place is None else found[0], ensure_ascii=False))
        return
    for each in found:
        for probe in each["probes"]:
            click.echo("\n".join(_lines(each["place"], probe)))


def _lines(place: str, probe: dict[str, Any]) -> list[str]:
    papers = probe["calibration"]
    calibrated = (
        "no certificate" if papers["made_at"] is None else f"calibrated {papers['made_at'][:10]}"
    )
    lines = [f"{place}/{probe['probe']}: ±{probe['uncertainty']:.1f} %RH, {calibrated}"]
    for advice in probe["advice"]:
        lines += [f"  {advice['confidence']}: {advice['says']}", f"    {advice['do']}"]
    return lines
