"""Compiles the loops over readings when the package is installed or packed: a hook of hatchling."""

from collections.abc import Iterator
from pathlib import Path
from runpy import run_path
from shutil import copy
from tempfile import TemporaryDirectory
from typing import Any

from Cython.Build import cythonize
from hatchling.builders.hooks.plugin.interface import BuildHookInterface
from setuptools import Distribution, Extension

PACKAGE = "heartlevel.kernels"
FOLDER = Path("service", *PACKAGE.split("."))
# The same bits on every machine: no product and sum in one step, no instructions of one kind of processor. Nothing in it
# tells of the folder it was compiled in.
OPTIONS = ["-O3", "-ffp-contract=off", "-g0"]
# What Cython makes for every module that takes arrays is compiled once, in a module of its own, which the others look up.
SHARED, SHARED_OPTIONS = f"{PACKAGE}.arrays_shared", ["-O1", "-g0"]
DIRECTIVES = {
    "language_level": 3,
    "annotation_typing": False,  # the types stand in the .pxd beside each module
    "boundscheck": False,
    "wraparound": False,
    "initializedcheck": False,
    "cdivision": True,
}


class CompiledKernels(BuildHookInterface):
    """Puts compiled loops beside their sources: into the wheel, or into the checkout if the package is to be edited."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Compile; a compiler that is not there, or says no, ends the installation with what it said."""
        build_data["pure_python"], build_data["infer_tag"] = False, True
        self._scratch = TemporaryDirectory(prefix="heartlevel-kernels-")
        for module in (*compiled(Path(self._scratch.name)), mark(Path(self._scratch.name))):
            if version == "editable":
                copy(module, Path(self.root, FOLDER))
            else:
                build_data["force_include"][str(module)] = str(Path(*PACKAGE.split("."), module.name))

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:
        """Clear up."""
        self._scratch.cleanup()


def compiled(scratch: Path) -> Iterator[Path]:
    """Yield the modules, compiled in a folder of their own."""
    loops = run_path(str(FOLDER / "sources.py"))["loops"](FOLDER)
    extensions = [Extension(f"{PACKAGE}.{path.stem}", [str(path)], extra_compile_args=OPTIONS) for path in loops]
    shared = Extension(SHARED, [str(scratch / "arrays_shared.c")], extra_compile_args=SHARED_OPTIONS)
    declared = cythonize(
        [*extensions, shared],
        build_dir=str(scratch),
        compiler_directives=DIRECTIVES,
        shared_utility_qualified_name=SHARED,
    )
    command = Distribution({"ext_modules": declared}).get_command_obj("build_ext")
    command.build_lib, command.build_temp = str(scratch / "lib"), str(scratch / "temp")
    command.ensure_finalized()
    command.run()
    yield from map(Path, command.get_outputs())


def mark(scratch: Path) -> Path:
    """Return the file that says what the loops were compiled from."""
    sources = run_path(str(FOLDER / "sources.py"))
    path = scratch / str(sources["COMPILED_FROM"])
    path.write_text(sources["digest_of_loops"](FOLDER))
    return path
