"""Found first by every Python process that a test starts: lets a witness watch its runners (`tests/witness.py`)."""

import importlib.machinery
import importlib.util
import os
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
WATCHED = "assistant.runner.loop"


def load(name, path):
    spec = importlib.util.spec_from_file_location(name, path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


class Watching:
    """Finds the loop as it would be found without, and has it watched as soon as it is imported."""

    @staticmethod
    def find_spec(name, path=None, target=None):
        if name != WATCHED:
            return None
        spec = importlib.machinery.PathFinder.find_spec(name, path, target)
        if spec is None or "KERFCALL_WITNESS_FILE" not in os.environ:
            return spec
        run = spec.loader.exec_module

        def run_and_watch(module):
            run(module)
            witness = load("kerfcall_witness", os.path.join(os.path.dirname(HERE), "witness.py"))
            witness.watch_runners(module, witness.object_in_file)

        spec.loader.exec_module = run_and_watch
        return spec


sys.meta_path.insert(0, Watching)

# What this one hides: a machine may have one of its own.
elsewhere = [entry for entry in sys.path if os.path.abspath(entry) != HERE]
hidden = importlib.machinery.PathFinder.find_spec(__name__, elsewhere)
if hidden is not None and hidden.loader is not None:
    hidden.loader.exec_module(importlib.util.module_from_spec(hidden))
