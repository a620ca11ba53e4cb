"""The Celery application: a doorbell that loses, doubles and shuffles, and that nothing depends on.

The settings and why they are so: docs/decisions/embedded-broker.md, and the figures measured for this house.
"""

from collections.abc import Sequence
from typing import Any

from celery import Celery
from kombu.entity import Exchange, Queue

SOCKET_TIMEOUT = 10
"""Seconds after which a silent line to the broker is given up: a half-open one is noticed, and opened anew."""


def bell_app(broker: str, ear: str = "", queues: Sequence[str] = ()) -> Celery:
    """Return the application that talks to `broker`, and that hears `queues`.

    `ear` names what one worker keeps in the broker besides: everything under the production's own prefix, so that the
    broker can give each site a user that reaches no further.
    """
    app = Celery("relay", broker=broker, set_as_current=False)
    app.conf.update(_SETTINGS)
    app.conf.task_queues = [queue_named(name) for name in queues]
    if ear:
        keys = ("unacked", "unacked_index", "unacked_mutex")
        app.conf.broker_transport_options = {
            **_SETTINGS["broker_transport_options"],
            **{f"{key}_key": f"{ear}.{key}" for key in keys},
        }
    return app


def queue_named(name: str) -> Queue:
    """Return a queue that is addressed by its own name alone: no binding that could be lost with the broker's data."""
    exchange = Exchange("", type="direct")  # type: ignore[no-untyped-call]  # kombu has no types
    return Queue(name, exchange, routing_key=name, no_declare=True)  # type: ignore[no-untyped-call]


_SETTINGS: dict[str, Any] = {
    # Messages say "look", in JSON; nothing comes back.
    "accept_content": ["json"],
    "task_serializer": "json",
    "result_serializer": "json",
    "event_serializer": "json",
    "result_backend": None,
    "task_ignore_result": True,
    "task_store_errors_even_if_ignored": False,
    # Nobody else may speak to a worker, and workers do not gossip.
    "worker_enable_remote_control": False,
    "worker_send_task_events": False,
    "task_send_sent_event": False,
    # The broker may be away for a minute or a week.
    "broker_connection_retry": True,
    "broker_connection_retry_on_startup": True,
    "broker_connection_max_retries": None,
    "broker_channel_error_retry": True,
    "broker_connection_timeout": SOCKET_TIMEOUT,
    "worker_cancel_long_running_tasks_on_connection_loss": False,
    "broker_transport_options": {
        "socket_timeout": SOCKET_TIMEOUT,
        "socket_connect_timeout": SOCKET_TIMEOUT,
        "socket_keepalive": True,
        "health_check_interval": 10,
        "visibility_timeout": 3600,
        "queue_order_strategy": "round_robin",
    },
    # A worker takes one message at a time: what it has not begun, another may hear.
    "worker_prefetch_multiplier": 1,
    "worker_disable_prefetch": True,
    "worker_pool": "threads",
    "worker_concurrency": 1,
    "worker_soft_shutdown_timeout": 2.0,
    "worker_enable_soft_shutdown_on_idle": False,
    "worker_hijack_root_logger": False,
    "worker_redirect_stdouts": False,
    "timezone": "UTC",
    "enable_utc": True,
}
