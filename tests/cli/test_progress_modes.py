# SPDX-License-Identifier: Apache-2.0
"""The four ways of telling progress, with a clock wound by hand."""

import io
import json
import subprocess
import sys

import pytest

import invented
from mixwright.cli.progress import teller
from mixwright.jobs.progress import Job, Progress


class Clock:
    def __init__(self):
        self.now = 100.0

    def __call__(self):
        return self.now


class Screen(io.StringIO):
    def isatty(self):
        return True


def work(tell, clock, *, steps, step_s, name="Decoding"):
    job = Job(name, steps, tell, clock=clock)
    for _ in range(steps):
        clock.now += step_s
        job.step()


def test_plain_is_one_line_per_ten_percent():
    stream, clock = io.StringIO(), Clock()
    work(teller("plain", stream, clock), clock, steps=200, step_s=1.0)
    lines = stream.getvalue().splitlines()
    assert lines[0] == "Decoding: 10 %, about 3 min left"
    assert lines[8] == "Decoding: 90 %, about 20 s left"
    assert lines[9] == "Decoding: 100 %"
    assert len(lines) == 10


def test_plain_counts_each_job_and_each_run_of_it():
    stream, clock = io.StringIO(), Clock()
    tell = teller("plain", stream, clock)
    for name in ("A", "B", "A"):
        work(tell, clock, steps=2, step_s=1.0, name=name)
    halves = ["50 %, about 1 s left", "100 %"]
    assert stream.getvalue().splitlines() == [f"{name}: {half}" for name in "ABA" for half in halves]


def test_plain_lines_of_a_fast_job_are_few():
    stream, clock = io.StringIO(), Clock()
    work(teller("plain", stream, clock), clock, steps=10, step_s=0.25)
    assert [line.split(",")[0] for line in stream.getvalue().splitlines()] == [
        "Decoding: 40 %",
        "Decoding: 80 %",
        "Decoding: 100 %",
    ]


def test_json_is_one_object_a_line_and_not_too_many():
    stream, clock = io.StringIO(), Clock()
    work(teller("json", stream, clock), clock, steps=1000, step_s=0.01)
    events = [json.loads(line) for line in stream.getvalue().splitlines()]
    assert all(list(event) == ["job", "done", "total", "left_s"] for event in events)
    assert events[0] == {"job": "Decoding", "done": 0.0, "total": 1000, "left_s": None}
    assert events[-1] == {"job": "Decoding", "done": 1000.0, "total": 1000, "left_s": 0.0}
    assert 90 <= len(events) <= 102
    done = [event["done"] for event in events]
    assert done == sorted(done)


def test_none_is_silent():
    stream, clock = Screen(), Clock()
    work(teller("none", stream, clock), clock, steps=10, step_s=9.0)
    assert stream.getvalue() == ""


def test_no_bar_where_there_is_no_terminal():
    stream, clock = io.StringIO(), Clock()
    work(teller("bar", stream, clock), clock, steps=2, step_s=1.0)
    assert stream.getvalue().splitlines() == ["Decoding: 50 %, about 1 s left", "Decoding: 100 %"]


@pytest.mark.parametrize("mode", ["bar", None])
def test_a_bar_is_drawn_for_work_that_lasts(mode, monkeypatch):
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "80")
    stream, clock = Screen(), Clock()
    tell = teller(mode, stream, clock)
    job = Job("Decoding [bold]x[/bold]\x1b[31m", 10, tell, clock=clock)
    job.step()
    assert stream.getvalue() == ""
    clock.now += 1.0
    job.step()
    tell.close()
    assert "Decoding [bold]x[/bold]" in stream.getvalue()
    told = len(stream.getvalue())
    job.step()
    assert len(stream.getvalue()) == told


def test_a_job_without_steps_is_done():
    stream = io.StringIO()
    teller("plain", stream)(Progress(job="Nothing", done=0.0, total=0.0, left_s=None))
    assert stream.getvalue() == "Nothing: 100 %\n"


def test_names_of_jobs_are_cleaned():
    stream = io.StringIO()
    teller("plain", stream)(Progress(job="a\x1b[2J\nb", done=1.0, total=1.0, left_s=None))
    assert stream.getvalue() == "a b: 100 %\n"


def test_progress_stays_off_standard_output(app, mixwright):
    def work(song, *, report, cancel, **_):
        report(Progress(job="Measuring", done=1.0, total=1.0, left_s=0.0))
        return invented.measure_result()

    app("measure", work)
    ended = mixwright("measure", "bus", "--json", "--progress", "json")
    assert ended.document["command"] == "measure"
    assert json.loads(ended.err) == {"job": "Measuring", "done": 1.0, "total": 1.0, "left_s": 0.0}
    assert mixwright("--progress", "plain", "measure", "bus").err == "Measuring: 100 %\n"


def test_rich_is_loaded_by_the_first_bar_only():
    code = (
        "import io, sys\n"
        "from mixwright.cli.progress import teller\n"
        "from mixwright.jobs.progress import Progress\n"
        "S = type('S', (io.StringIO,), {'isatty': lambda self: True})\n"
        "clock = iter([0.0, 0.1, 9.0]).__next__\n"
        "tell = teller('bar', S(), clock)\n"
        "tell(Progress(job='a', done=1.0, total=2.0, left_s=None)); before = 'rich.progress' in sys.modules\n"
        "tell(Progress(job='a', done=2.0, total=2.0, left_s=None)); after = 'rich.progress' in sys.modules\n"
        "tell.close(); print(before, after)"
    )
    told = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout
    assert told.split() == ["False", "True"]
