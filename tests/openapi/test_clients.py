"""Clients made from the contract by general generators work: one request goes through each, and its answer is parsed."""

import importlib
import json
import subprocess
import sys
from pathlib import Path

import httpx
import pytest

from heartlevel.resources import shipped
from heartlevel.web.application import create_app
from support import answer, rules, week

CONTRACT = shipped("openapi") / "openapi.json"
TOOLS = Path(sys.executable).parent
HERE = Path(__file__).parent


def made(*command: str | Path) -> None:
    """Run a generator; it says nothing against the contract."""
    path = {"PATH": f"{TOOLS}:/usr/bin:/bin", "HOME": "/nonexistent"}
    run = subprocess.run(list(map(str, command)), capture_output=True, text=True, env=path)
    assert run.returncode == 0, run.stderr or run.stdout
    assert "warning" not in (run.stdout + run.stderr).lower()


@pytest.fixture(scope="module")
def client_package(tmp_path_factory):
    folder = tmp_path_factory.mktemp("client")
    config = HERE / "openapi-python-client.yaml"
    made(TOOLS / "openapi-python-client", "generate", "--path", CONTRACT, "--config", config, "--meta", "none",
         "--output-path", folder / "made_client")  # fmt: skip
    sys.path.insert(0, str(folder))
    yield "made_client"
    sys.path.remove(str(folder))


@pytest.fixture(scope="module")
def caller(client_package):
    """A client that calls the application without a network in between."""
    transport = httpx.WSGITransport(app=create_app({}, rules()))
    package = importlib.import_module(client_package)
    return package.Client(base_url="http://service", httpx_args={"transport": transport})


def called(client_package: str, operation: str, **arguments: object):
    return importlib.import_module(f"{client_package}.api.{operation}").sync_detailed(**arguments)


def test_a_python_client_sends_a_request_and_parses_the_answer(client_package, caller):
    models = importlib.import_module(f"{client_package}.models")
    sent = week(7)
    body = models.Envelope.from_dict(sent)
    assert body.to_dict() == sent
    reply = called(client_package, "assessments.assess", client=caller, body=body)
    assert reply.status_code == 200
    assert isinstance(reply.parsed, models.Answer)
    told = answer(sent)
    assert reply.parsed.to_dict() == told
    assert reply.parsed.classification.category.value == told["classification"]["category"] == "stage-1"


def test_a_python_client_parses_a_refusal_and_a_code_that_it_does_not_know(client_package, caller):
    models = importlib.import_module(f"{client_package}.models")
    body = models.Envelope.from_dict({**week(1), "options": {"guideline": "of-a-clinic", "strict": True}})
    reply = called(client_package, "assessments.assess", client=caller, body=body)
    assert (reply.status_code, reply.parsed.problems[0].code) == (422, "not-one-of")
    step = {"code": "of-a-clinic", "text": "", "patient": None, "first": True, "because": [], "rules": []}
    assert models.NextStep.from_dict(step).code == "of-a-clinic"


def test_every_operation_of_the_python_client_can_be_imported(client_package):
    contract = json.loads(CONTRACT.read_text())
    named = [operation["operationId"] for methods in contract["paths"].values() for operation in methods.values()]
    folder = Path(importlib.import_module(client_package).__file__).parent / "api"
    modules = [path.relative_to(folder).with_suffix("") for path in folder.glob("*/*.py") if path.stem != "__init__"]
    for module in modules:
        importlib.import_module(f"{client_package}.api.{'.'.join(module.parts)}")
    assert len(modules) == len(named)


def test_data_models_take_an_answer_and_give_it_back(tmp_path, monkeypatch):
    output = tmp_path / "made_models.py"
    kinds = ("--input-file-type", "openapi", "--output-model-type", "pydantic_v2.BaseModel")
    form = ("--formatters", "builtin", "--target-python-version", "3.11")
    made(TOOLS / "datamodel-codegen", "--input", CONTRACT, "--output", output, *kinds, *form)
    monkeypatch.syspath_prepend(tmp_path)
    models = importlib.import_module("made_models")
    told = answer(week(7))
    parsed = models.Answer.model_validate(told)
    assert parsed.model_dump(mode="json", by_alias=True, exclude_unset=True) == told
    assert models.Envelope.model_validate(week(2)).subject.id == "s-1"
