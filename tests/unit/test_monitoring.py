"""The dashboard and the alerts: as their own tools read them, and of what the service exposes alone."""

import json
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml
from grafana_foundation_sdk.cog.encoder import JSONEncoder
from grafana_foundation_sdk.cog.plugins import register_default_plugins
from grafana_foundation_sdk.models import dashboard as grafana

from heartlevel.web.observing.counters import EVERY

FOLDER = Path(__file__).parents[2] / "docker/monitoring"
DASHBOARD = json.loads((FOLDER / "dashboard.json").read_text())
ALERTS = [rule for group in yaml.safe_load((FOLDER / "alerts.yaml").read_text())["groups"] for rule in group["rules"]]
EXPRESSIONS = [target["expr"] for panel in DASHBOARD["panels"] for target in panel["targets"]]
SUFFIXES = {"counter": ("_total",), "gauge": ("",), "histogram": ("_bucket", "_sum", "_count")}
LABEL = re.compile(r"([a-z_]+) ?(?:=~|!~|!=|=)")


def exposed() -> dict[str, set[str]]:
    """Return the labels of everything in the text that /metrics answers, by name."""
    names = {}
    for metric in EVERY:
        (family,) = metric.describe()
        for suffix in SUFFIXES[family.type]:
            names[family.name + suffix] = {*metric._labelnames, *(["le"] if suffix == "_bucket" else [])}
    return names


@pytest.mark.parametrize("expression", [*EXPRESSIONS, *(rule["expr"] for rule in ALERTS)])
def test_what_is_asked_for_is_exposed_with_the_labels_that_are_asked_for(expression):
    known = exposed()
    names = set(re.findall(r"\bheartlevel_\w+", expression))
    assert names <= known.keys() and (names or "up{" in expression)
    # `job` and `instance` are Prometheus's own.
    labels = {label for part in re.findall(r"\{([^}]*)\}", expression) for label in LABEL.findall(part)}
    labels |= {label.strip() for part in re.findall(r"by \(([^)]*)\)", expression) for label in part.split(",")}
    assert labels - {"job", "instance"} <= set().union(*(known[name] for name in names))


def test_everything_that_is_exposed_is_shown():
    shown = {name for expression in EXPRESSIONS for name in re.findall(r"\bheartlevel_\w+", expression)}
    assert {metric.describe()[0].name for metric in EVERY} == {re.sub(r"_(total|bucket)$", "", name) for name in shown}


def missing(written: Any, read: Any, at: str = "") -> Iterator[str]:
    """Yield what of a document is not there, or another, once it was read and written again."""
    if isinstance(written, dict) and isinstance(read, dict):
        for name, value in written.items():
            yield from missing(value, read.get(name), f"{at}/{name}")
    elif isinstance(written, list) and isinstance(read, list) and len(written) == len(read):
        for number, (value, other) in enumerate(zip(written, read, strict=True)):
            yield from missing(value, other, f"{at}/{number}")
    elif written != read:
        yield f"{at}: {written!r} is read as {read!r}"


def read_again(document: dict) -> dict:
    register_default_plugins()
    return json.loads(json.dumps(grafana.Dashboard.from_json(document), cls=JSONEncoder))


def test_grafana_reads_all_of_the_dashboard():
    """Against the types that Grafana's own library generates from its schema: what they do not know would be lost."""
    assert list(missing(DASHBOARD, read_again(DASHBOARD))) == []


@pytest.mark.parametrize("path", [("titel",), ("panels", 3, "legend"), ("panels", 3, "targets", 0, "expression")])
def test_a_misspelt_name_in_a_dashboard_is_noticed(path):
    changed = json.loads(json.dumps(DASHBOARD))
    inside = changed
    for name in path[:-1]:
        inside = inside[name]
    inside[path[-1]] = "x"
    assert list(missing(changed, read_again(changed))) == ["/" + "/".join(map(str, path)) + ": 'x' is read as None"]


def test_panels_do_not_lie_over_one_another():
    cells = [(x, y) for panel in DASHBOARD["panels"] for box in [panel["gridPos"]]
             for x in range(box["x"], box["x"] + box["w"]) for y in range(box["y"], box["y"] + box["h"])]  # fmt: skip
    assert len(set(cells)) == len(cells) and max(x for x, _ in cells) < 24
    ids = [panel["id"] for panel in DASHBOARD["panels"]]
    assert len(set(ids)) == len(ids)


def test_every_alert_is_tried_by_promtools_tests():
    text = (FOLDER / "alerts.test.yaml").read_text()
    assert {rule["alert"] for rule in ALERTS} == set(
        re.findall(r"\{eval_time: 100m, alertname: (\w+), exp_alerts: \[\]\}", text)
    )
    assert f"value: {len(ALERTS)}}}" in text  # firing at once


@pytest.mark.skipif(shutil.which("promtool") is None, reason=".ci/monitoring fetches promtool, or says that it cannot")
def test_promtool_takes_the_alerts_and_they_do_what_is_expected():
    for command, file in (("check", "alerts.yaml"), ("test", "alerts.test.yaml")):
        done = subprocess.run(["promtool", command, "rules", FOLDER / file], capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stdout + done.stderr
