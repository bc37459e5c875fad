"""Whether what is installed has a weakness that is known: ``python -m tests.security.audit``.

pip-audit asks its vulnerability service, within a minute. A known weakness ends this with 1. A service that
does not answer, or that knows none of what it is asked for, says nothing about anything: that is told, on a
line of its own, and never taken for a clean bill.

AUDIT_OSV_URL asks a service of the OSV kind there instead of pip-audit's own choice.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from typing import Any

MINUTE = 60
NOT_AUDITED = "not audited: the service did not answer"
ACCEPTED: dict[str, str] = {}
"""Weaknesses that do no harm here, by their id, and why."""


def main(seconds: float = MINUTE) -> int:
    """Print what came of it; 1 for a known weakness, else 0."""
    try:
        asked = subprocess.run(_command(), capture_output=True, text=True, timeout=seconds)
        found = json.loads(asked.stdout)["dependencies"]
    except (subprocess.TimeoutExpired, OSError, ValueError, KeyError):
        print(NOT_AUDITED)
        return 0
    known = [one for one in found if "skip_reason" not in one]
    weak = [one for one in known if one["vulns"]]
    for one in weak:
        for weakness in one["vulns"]:
            print(_told(one, weakness))
    if weak:
        print(f"{len(weak)} of {len(known)} packages are weak: update them, or say in ACCEPTED why not.")
        return 1
    if not known:
        print(NOT_AUDITED)
        return 0
    print(f"{len(known)} packages audited, none with a known weakness.")
    if unknown := [one["name"] for one in found if "skip_reason" in one]:
        print(f"not audited, because the service does not know them: {', '.join(unknown)}")
    return 0


def _command() -> list[str]:
    service = os.environ.get("AUDIT_OSV_URL", "")
    return [
        *(sys.executable, "-m", "pip_audit", "--local", "--skip-editable", "--format", "json"),
        *("--progress-spinner", "off", "--timeout", "5"),
        *(word for one in ACCEPTED for word in ("--ignore-vuln", one)),
        *(("--vulnerability-service", "osv", "--osv-url", service) if service else ()),
    ]


def _told(package: dict[str, Any], weakness: dict[str, Any]) -> str:
    fixed = ", ".join(weakness["fix_versions"]) or "no version yet"
    return f"{package['name']} {package['version']}: {weakness['id']}, mended in {fixed}"


if __name__ == "__main__":
    raise SystemExit(main())
