"""Every public module, class, function and method says what it is, and the examples in those words still run."""

import doctest
import importlib
import inspect
import pkgutil

import pytest

import toolkit

# Started as a program inside the server, where what they import is there.
MODULES = sorted(info.name for info in pkgutil.walk_packages(toolkit.__path__, "toolkit."))


def public(module):
    """The public names of a module, and the public methods of its classes, that are defined in it."""
    for name, value in vars(module).items():
        if name.startswith("_") or getattr(value, "__module__", None) != module.__name__:
            continue
        if inspect.isclass(value) or inspect.isfunction(value):
            yield name, value
        if inspect.isclass(value):
            for inner, part in vars(value).items():
                function = part.fget if isinstance(part, property) else getattr(part, "__func__", part)
                if not inner.startswith("_") and inspect.isfunction(function):
                    yield f"{name}.{inner}", function


@pytest.mark.parametrize("name", MODULES)
def test_all_that_is_public_is_documented(name):
    module = importlib.import_module(name)
    assert (module.__doc__ or "").strip(), f"{name} has no docstring"
    bare = [f"{name}.{what}" for what, value in public(module) if not (value.__doc__ or "").strip()]
    assert not bare


@pytest.mark.parametrize("name", MODULES)
def test_examples_run(name):
    failed, _ = doctest.testmod(importlib.import_module(name))
    assert failed == 0


def test_there_are_modules_and_examples_to_test():
    finder = doctest.DocTestFinder()
    examples = [t for name in MODULES for t in finder.find(importlib.import_module(name)) if t.examples]
    assert len(MODULES) > 20
    assert examples
