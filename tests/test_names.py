"""One name, one thing: no class of the house shares its name, no function of the product."""

from __future__ import annotations

import ast
from collections.abc import Iterable
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
HOUSE = ROOT / "chatter"
FILES = sorted(HOUSE.rglob("*.py"))


def _public(kinds: type | tuple[type, ...], files: Iterable[Path]) -> dict[str, list[str]]:
    """Public name -> the places that define it, at the top of a module."""
    places: dict[str, list[str]] = {}
    for file in files:
        for node in ast.parse(file.read_text(encoding="utf-8")).body:
            if isinstance(node, kinds) and not node.name.startswith("_"):
                place = f"{file.relative_to(ROOT)}:{node.lineno}"
                places.setdefault(node.name, []).append(place)
    return places


def test_every_class_has_a_name_of_its_own():
    """In the lab too."""
    shared = {name: at for name, at in _public(ast.ClassDef, FILES).items() if len(at) > 1}
    assert not shared, f"give each of these a name of its own, from the trade: {shared}"


def test_every_public_function_of_the_product_has_a_name_of_its_own():
    """But for the front doors, which the entrance and the page's worker open by their names."""
    product = [file for file in FILES if "lab" not in file.relative_to(HOUSE).parts]
    doors = set(_public(ast.FunctionDef, [HOUSE / "__init__.py"])) | {"main"}
    found = _public((ast.FunctionDef, ast.AsyncFunctionDef), product)
    shared = {name: at for name, at in found.items() if len(at) > 1 and name not in doors}
    assert not shared, f"give each of these a name of its own, a verb: {shared}"
