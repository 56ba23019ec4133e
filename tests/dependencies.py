"""Known vulnerabilities of the packages that we build on: ``python -m tests.dependencies``.

pip-audit asks the package index for what is known of each installed package. Where the index has
no such service, or none can be reached, pip-audit finds nothing and ends well: here that is told as
what it is, not audited. Only a vulnerability that is known ends with an error.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

AUDIT = (sys.executable, "-m", "pip_audit", "--format", "json", "--skip-editable")
QUIETLY = ("--progress-spinner", "off")
SECONDS_AT_MOST = 180

Package = Mapping[str, Any]


def main() -> int:
    """Say what was found; 1 when something is known against a package."""
    try:
        done = subprocess.run(
            [*AUDIT, *QUIETLY], capture_output=True, text=True, timeout=SECONDS_AT_MOST
        )
        packages: Sequence[Package] = json.loads(done.stdout)["dependencies"]
    except subprocess.TimeoutExpired:
        print(f"NOT AUDITED: no answer within {SECONDS_AT_MOST} s")
        return 0
    except (ValueError, KeyError):
        print(f"NOT AUDITED: {(done.stderr.strip().splitlines() or ['no answer'])[-1]}")
        return 0
    print("\n".join(told(packages)))
    return int(any(map(vulnerabilities, packages)))


def told(packages: Sequence[Package]) -> Iterator[str]:
    """What is known of the packages, and of how many nothing could be asked."""
    for package in packages:
        for known in vulnerabilities(package):
            mended = ", ".join(known.get("fix_versions", ())) or "no version yet"
            yield f"{package['name']} {package['version']}: {known['id']}, mended in {mended}"
    skipped = [package["name"] for package in packages if "skip_reason" in package]
    audited = len(packages) - len(skipped)
    if audited:
        found = sum(len(vulnerabilities(package)) for package in packages)
        yield f"audited: {audited} packages, {found} known vulnerabilities"
    if skipped or not audited:
        more = " ..." if len(skipped) > len(skipped[:5]) else ""
        names = f" ({', '.join(skipped[:5])}{more})" if skipped else ""
        yield f"NOT AUDITED: {len(skipped)} packages; the index knows nothing of them{names}"


def vulnerabilities(package: Package) -> Sequence[Mapping[str, Any]]:
    """What is known against a package."""
    found: Sequence[Mapping[str, Any]] = package.get("vulns", ())
    return found


if __name__ == "__main__":
    sys.exit(main())
