"""The house's walls: data flows importers -> analyzer -> reports, the command line on top."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

TOP = Path(__file__).parents[2]
MAY_IMPORT = {
    "importers": {"importers"},
    "analyzer": {"analyzer", "importers"},
    "reports": {"reports", "analyzer", "importers"},
    "hillproof": {"hillproof", "reports", "analyzer", "importers", "sample_logs"},
}
OURS = {*MAY_IMPORT, "sample_logs", "tests", "benchmarks"}


def imported(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            names.add(node.module.split(".")[0])
    return names & OURS


@pytest.mark.parametrize("package", MAY_IMPORT)
def test_nothing_imports_upward(package):
    for path in (TOP / package).rglob("*.py"):
        wrong = imported(path) - MAY_IMPORT[package]
        assert not wrong, f"{path.relative_to(TOP)} imports {sorted(wrong)}"


@pytest.mark.parametrize("package", MAY_IMPORT)
def test_package_files_are_empty(package):
    # What an __init__ imports, every user of the package pays for.
    for path in (TOP / package).rglob("__init__.py"):
        assert path.read_text().strip() == "", path


@pytest.mark.parametrize("package", ["analyzer", "reports"])
def test_only_writers_touch_files(package):
    allowed = {"reports/write.py", "reports/table_out.py"}
    for path in (TOP / package).rglob("*.py"):
        if str(path.relative_to(TOP)) in allowed:
            continue
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                assert node.func.id != "open", path


def test_help_loads_nothing_heavy():
    code = (
        "import sys\nfrom hillproof.cli import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        "heavy = {'pandas', 'numpy', 'scipy', 'plotly', 'pyarrow', 'jinja2'} & set(sys.modules)\n"
        "print('HEAVY', sorted(heavy))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=TOP)
    assert "HEAVY []" in done.stdout, done.stdout[-500:] + done.stderr[-2000:]
