"""What every way out must do."""

from typing import Protocol

from monitor.store.rows import Notice


class Channel(Protocol):
    """A way out for notices.

    A notice may come more than once: the receiver tells by its idempotency key.
    """

    def deliver(self, notice: Notice) -> None:
        """Hand one notice over; returns once the receiver has it.

        Raises:
            DeliveryError: it did not arrive; ``retry`` and ``after_s`` say whether and when to try
                again.
        """
        ...
