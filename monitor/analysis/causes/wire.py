"""A cause for other eyes: the JSON of the API and of notifications."""

from monitor.analysis.causes.evidence import Cause

Json = dict[str, object]


def wire(cause: Cause) -> Json:
    """The cause as the API gives it; shares are rounded to what they are worth."""
    return {
        "kind": cause.kind.value,
        "could_be": [kind.value for kind in cause.could_be],
        "water_share": _share(cause.water_share),
        "water_share_low": _share(cause.water_share_low),
        "water_share_high": _share(cause.water_share_high),
        "figures": [
            {"name": figure.name, "value": round(figure.value, 2), "unit": figure.unit}
            for figure in cause.figures
        ],
        "check_first": list(cause.check_first),
        "reference": cause.reference,
        "says": cause.says,
    }


def _share(value: float | None) -> float | None:
    return None if value is None else round(value, 2)
