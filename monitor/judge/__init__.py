"""How far each reading can be trusted: pure, over columns of readings.

``judge`` takes what is known of each series (``Rules``), what it did so far (``Memory``) and a
batch; it gives a ``Verdict`` and changes nothing. The caller lets the memory learn once the verdict
has been committed.
"""

from monitor.judge.judging import Verdict, judge
from monitor.judge.memory import Lesson, Memory
from monitor.judge.rules import Rules

__all__ = ["Lesson", "Memory", "Rules", "Verdict", "judge"]
