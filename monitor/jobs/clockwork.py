"""The scheduler: jobs at UTC times, caught up once after the machine slept."""

import logging
from collections.abc import Callable
from datetime import UTC, datetime

from apscheduler.events import EVENT_JOB_ERROR, JobExecutionEvent
from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.schedulers.background import BackgroundScheduler

log = logging.getLogger(__name__)


class Clockwork:
    """APScheduler with the defaults that suit a small machine that may sleep.

    Triggers run in UTC: in a zone with daylight saving a daily job can fire twice or not at all.
    """

    def __init__(self) -> None:
        self._scheduler = BackgroundScheduler(
            timezone="UTC",
            executors={"default": ThreadPoolExecutor(1)},
            job_defaults={"coalesce": True, "misfire_grace_time": None, "max_instances": 1},
        )
        self._scheduler.add_listener(_tell, EVENT_JOB_ERROR)
        logging.getLogger("apscheduler").setLevel(logging.WARNING)

    def daily(self, name: str, hour: int, minute: int, work: Callable[[], None]) -> None:
        """Run ``work`` at the start, and then every day at a UTC time.

        At the start, since a machine that is off at night would never get to it.
        """
        self._scheduler.add_job(
            work, "cron", hour=hour, minute=minute, id=name, next_run_time=datetime.now(UTC)
        )

    def every(self, name: str, seconds: float, work: Callable[[], None]) -> None:
        """Run ``work`` at the start and then again and again."""
        self._scheduler.add_job(
            work, "interval", seconds=seconds, id=name, next_run_time=datetime.now(UTC)
        )

    def start(self) -> None:
        """Begin."""
        self._scheduler.start()

    def stop(self) -> None:
        """End; a job under way is not waited for."""
        if self._scheduler.running:
            self._scheduler.shutdown(wait=False)


def _tell(event: JobExecutionEvent) -> None:
    log.error("job %s failed: %s\n%s", event.job_id, event.exception, event.traceback)
