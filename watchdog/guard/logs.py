"""The guard's log: lines to standard error, written by a thread of their own so that a full pipe holds up nobody."""

import logging
import logging.handlers
import queue
import sys

MOST_WAITING = 10_000


class _Dropping(logging.handlers.QueueHandler):
    """A full queue drops the line instead of raising or waiting."""

    def enqueue(self, record: logging.LogRecord) -> None:
        try:
            self.queue.put_nowait(record)
        except queue.Full:
            return


def start_logging(*, timestamps: bool) -> logging.handlers.QueueListener:
    """Begin to log; call `stop` on the result at the end. `timestamps` where no service manager adds its own."""
    lines: queue.Queue[logging.LogRecord] = queue.Queue(MOST_WAITING)
    output = logging.StreamHandler(sys.stderr)
    form = "%(levelname)s %(message)s"
    output.setFormatter(logging.Formatter(f"%(asctime)s {form}" if timestamps else form))
    listener = logging.handlers.QueueListener(lines, output)
    logger = logging.getLogger("heatwarden")
    logger.setLevel(logging.INFO)
    logger.propagate = False
    logger.handlers = [_Dropping(lines)]
    listener.start()
    return listener
