"""Proof that a piece of advice is in the logbook of a given head; needs only Python and the proof.

Example: check_proof.py 4711:9f86d081... proof.json [next_page.json ...]
"""

import json
import sys
from hashlib import sha256
from pathlib import Path
from typing import Any


def digest_of(text: str) -> str:
    """Return the SHA-256 of a text in UTF-8, in hexadecimal."""
    return sha256(text.encode()).hexdigest()


def entry_digest(entry: dict[str, Any], position: int, previous_digest: str) -> str:
    """Return the digest of an entry's canonical JSON (RFC 8785), which is ASCII text and a
    number."""
    content = {name: entry[name] for name in ("at", "kind", "record_digest")}
    content |= {"position": position, "previous_digest": previous_digest}
    return digest_of(json.dumps(content, sort_keys=True, separators=(",", ":")))


def problem_with(pages: list[dict[str, Any]], head: str) -> str | None:
    """Say what is wrong with a proof; None if its record is in the logbook of this head."""
    proof, entry = pages[0], pages[0]["entry"]
    if digest_of(proof["salt"] + proof["record"]) != entry["record_digest"]:
        return "The record is not the one that was entered."
    position = entry["position"]
    digest = entry_digest(entry, position, entry["previous_digest"])
    following = [one for page in pages for one in page["following"]]
    for one in following[: int(head.partition(":")[0]) - position]:
        position += 1
        digest = entry_digest(one, position, digest)
    return None if f"{position}:{digest}" == head else "The entries do not lead to this head."


if __name__ == "__main__":
    if len(sys.argv) < 3:
        sys.exit(__doc__)
    files = [json.loads(Path(file).read_text(encoding="utf-8")) for file in sys.argv[2:]]
    wrong = problem_with(files, sys.argv[1])
    sys.exit(wrong or print("Unchanged: this record is in the logbook of this head."))
