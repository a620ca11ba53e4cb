"""Messages can only say "look": what a stranger puts into a queue is thrown away with a line in the log."""

import logging

import pytest
from hypothesis import given
from hypothesis import strategies as st

from workers.app import bell_app
from workers.message import Kind, Message, heard, site_queue, stage_queue
from workers.tasks import add_tasks

GOOD = {"production": "tide", "about": "scan/A/R001/1"}


def test_a_message_for_this_production_is_heard():
    assert heard(Kind.WAKE, [GOOD], "tide") == Message(production="tide", about="scan/A/R001/1")
    assert heard(Kind.SWEEP, [{"production": "tide"}], "tide") == Message(production="tide")


@pytest.mark.parametrize(
    "told",
    [
        [],
        [GOOD, GOOD],
        ["tide"],
        [None],
        [{}],
        [{**GOOD, "production": "other"}],
        [{**GOOD, "production": "TIDE"}],
        [{**GOOD, "about": "x" * 121}],
        [{**GOOD, "about": "; rm -rf /"}],
        [{**GOOD, "about": "\x1b[2J"}],
        [{**GOOD, "about": 7}],
        [{**GOOD, "command": ["sh"]}],
    ],
)
def test_a_message_that_is_malformed_or_about_another_production_is_thrown_away_with_a_line_in_the_log(told, caplog):
    caplog.set_level(logging.WARNING)
    assert heard(Kind.WAKE, told, "tide") is None
    assert len(caplog.records) == 1
    assert "was thrown away" in caplog.text
    assert "\x1b" not in caplog.text


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(), lambda x: st.lists(x) | st.dictionaries(st.text(), x)
    )
)
def test_whatever_stands_in_a_message_nothing_is_raised(body):
    assert heard(Kind.WAKE, [body], "tide") is None


def test_every_kind_has_its_task_and_each_rings_once():
    rung = []
    app = bell_app("memory://")
    add_tasks(app, lambda kind, told: rung.append((kind, told)))
    for kind in Kind:
        app.tasks[kind.task](GOOD)
    assert rung == [(kind, (GOOD,)) for kind in Kind]
    assert {name for name in app.tasks if name.startswith("relay.")} == {kind.task for kind in Kind}


def test_a_task_called_with_names_hears_them_too():
    rung = []
    app = bell_app("memory://")
    add_tasks(app, lambda kind, told: rung.append((kind, told)))
    app.tasks[Kind.WAKE.task](GOOD, sudo=True)
    assert rung == [(Kind.WAKE, (GOOD, True))]


def test_the_broker_is_told_the_settings_that_were_measured():
    """The figures behind each: docs/decisions/embedded-broker.md."""
    conf = bell_app("redis://127.0.0.1").conf
    assert list(conf.accept_content) == ["json"]
    assert conf.task_serializer == "json"
    assert conf.task_ignore_result
    assert conf.result_backend is None
    assert not conf.worker_enable_remote_control
    assert conf.broker_connection_max_retries is None
    assert conf.broker_connection_retry_on_startup
    assert conf.worker_disable_prefetch
    assert conf.broker_transport_options["socket_timeout"] == 10
    assert conf.broker_transport_options["health_check_interval"] == 10


def test_queues_are_named_by_production_and_site_or_stage():
    assert site_queue("tide", "lisbon") == "relay.tide.site.lisbon"
    assert stage_queue("tide", "scan") == "relay.tide.stage.scan"


def test_what_the_ear_logs_is_one_line_each_and_the_same_line_once():
    from workers.consumer import OneLine

    def said(text: str) -> logging.LogRecord:
        return logging.LogRecord("celery", logging.ERROR, "", 0, text, (), (ValueError, ValueError("x"), None))

    sieve = OneLine()
    records = [said("cannot connect\n\nTrying again"), said("cannot connect\n\nTrying again"), said("other")]
    assert [sieve.filter(record) for record in records] == [True, False, True]
    assert records[0].getMessage() == "cannot connect"
    assert records[0].exc_info is None
