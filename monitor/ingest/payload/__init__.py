"""Message bytes to values: one decoder for each kind of payload.

A new kind is a new file with its factory, a word in ``PayloadKind`` and a line in ``FORMATS``.
"""

from collections.abc import Callable

from monitor.ingest.payload.decoded import MAX_BYTES, Decoded, Decoder, Reject, Rejection
from monitor.ingest.payload.number import number_decoder
from monitor.ingest.payload.pointers import json_decoder
from monitor.ingest.payload.senml import senml_decoder
from monitor.quantities import Quantity
from monitor.setup.sources import PayloadKind, Source

__all__ = ["FORMATS", "MAX_BYTES", "Decoded", "Decoder", "Reject", "Rejection", "decoder_for"]

FORMATS: dict[PayloadKind, Callable[[Source, int], Decoder]] = {
    PayloadKind.SENML: senml_decoder,
    PayloadKind.JSON: json_decoder,
    PayloadKind.NUMBER: number_decoder,
}


def decoder_for(
    source: Source, quantity: Quantity | None = None, max_bytes: int = MAX_BYTES
) -> Decoder:
    """The decoder for the messages of a source.

    ``quantity`` is what the topic's ``{quantity}`` level says, for a source that has one. A longer
    message than ``max_bytes`` is refused unread.
    """
    if quantity is not None:
        source = source.model_copy(update={"quantity": quantity})
    return FORMATS[source.payload](source, max_bytes)
