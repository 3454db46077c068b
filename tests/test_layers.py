"""Imports point one way: each package knows only those before it, and the two skins do not know each other."""

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
ORDER = [
    "calc", "core", "figures", "staff", "customers", "dampers", "specs", "parts", "picklists", "workorders",
    "documents", "reminders", "exchange", "web", "demo",
]  # fmt: skip


def imported(path):
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
        elif isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)


def wrong_imports(folder, forbidden):
    return [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in sorted(folder.rglob("*.py"))
        for name in imported(path)
        if any(name == one or name.startswith(one + ".") for one in forbidden)
    ]


def test_packages_import_only_what_comes_before_them():
    wrong = []
    for level, package in enumerate(ORDER):
        forbidden = [f"shop.{name}" for name in ORDER[level + 1 :]]
        if package != "demo":
            forbidden.append("api")
        if package == "calc":
            forbidden += ["django", "rest_framework", "celery"]
        wrong += wrong_imports(ROOT / "shop" / package, forbidden)
    assert wrong == []


def test_the_api_does_not_know_the_pages():
    assert wrong_imports(ROOT / "api", ["shop.web", "shop.demo"]) == []


def test_every_package_has_its_place_in_the_order():
    packages = {path.parent.name for path in (ROOT / "shop").glob("*/__init__.py")}
    assert packages == set(ORDER)


def test_nothing_imports_a_package_as_a_whole():
    """`from shop import web` would escape the checks above."""
    wrong = [
        str(path.relative_to(ROOT))
        for path in (ROOT / "shop").rglob("*.py")
        if "shop" in {node.module for node in ast.walk(ast.parse(path.read_text())) if isinstance(node, ast.ImportFrom)}
        and path.relative_to(ROOT).as_posix() != "shop/core/apps.py"
    ]
    assert wrong == []
