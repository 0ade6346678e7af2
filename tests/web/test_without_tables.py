"""The service answers where the libraries for tables are not installed, with nothing but what the image's lock holds."""

import json
import subprocess
import sys
from importlib.metadata import packages_distributions

from packaging.utils import canonicalize_name

from unit.test_docker import pins

ANSWERING = r"""
import json, sys
from tempfile import TemporaryDirectory
begun = set(sys.modules)
# NumPy and SciPy take the last where they are installed.
for library in ("pandas", "pyarrow", "tqdm", "charset_normalizer", "Cython", "cython"):
    sys.modules[library] = None
from click.testing import CliRunner
from heartlevel.command import serve
from heartlevel.command.demo import HARBOUR_LANE
from heartlevel.command.main import main
from heartlevel.web.application import create_app
client = create_app().test_client()
lines = HARBOUR_LANE.read_bytes().splitlines(keepends=True)[:2]
alone = client.post("/v1/assessments", data=lines[0], content_type="application/json")
stream = client.post("/v1/assessments", data=b"".join(lines), content_type="application/x-ndjson")
device = client.post("/v1/device-checks", json={"device_checks": []})
ready, counted, contract = (client.get(path) for path in ("/ready", "/metrics", "/v1/openapi.json"))
sys.modules["matplotlib"] = None  # the image draws no plots
with TemporaryDirectory() as folder:
    shown = CliRunner().invoke(main, ["demo", "s-01", "--pages", folder])
print(json.dumps({
    "statuses": [reply.status_code for reply in (alone, stream, device, ready, counted, contract)],
    "answers": stream.data.count(b"\n"), "demo": shown.exit_code,
    "modules": sorted({name.split(".")[0] for name in sys.modules if name not in begun and sys.modules[name]}),
}))
"""


def test_the_service_answers_with_what_the_lock_of_its_image_holds_and_nothing_else():
    done = subprocess.run([sys.executable, "-c", ANSWERING], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert (told["statuses"], told["answers"], told["demo"]) == ([200] * 6, 2, 0)
    held = {*pins("docker/service.lock", "3.11"), "heartlevel"}
    owners = {module: names for module, names in packages_distributions().items() if module in told["modules"]}
    strange = {module: names for module, names in owners.items() if not held & set(map(canonicalize_name, names))}
    assert "flask" in owners and strange == {}
