"""A payload that is nothing but one number, such as ``23.4``."""

from monitor.ingest.payload.decoded import Decoded, Decoder, too_large
from monitor.ingest.payload.document import decimal
from monitor.setup.sources import Source


def number_decoder(source: Source, max_bytes: int) -> Decoder:
    """Reads every message as one value of the source's ``quantity``, at its arrival time.

    Raises:
        ValueError: the source has no quantity; it stands in the topic and was not filled in.
    """
    quantity = source.quantity
    if quantity is None:
        raise ValueError(f"which quantity is the number on {source.topic}?")

    def decode(payload: bytes, arrival_ms: int) -> Decoded:
        if len(payload) > max_bytes:
            raise too_large(payload, max_bytes)
        text = payload.decode("ascii", "replace")
        return Decoded([(quantity, arrival_ms, decimal(text, quantity))])

    return decode
