"""Rule sets and staged returns that were published with the service, by the SHA-256 of their files.

Such a file never changes, and ``tests/rules/test_published_files.py`` checks each in full, by its
form and by its meaning. So it need not be checked again whenever the service starts, which takes
longer than to read it. A file that was changed, or is not yet published, is checked.
"""

from __future__ import annotations

import hashlib

_PUBLISHED = frozenset(
    {
        "ee3a2ede2296ae5acc851a7e9f3c2cbf09f15baf10e265906eee2f2e1e15e945",  # baseline@1.0.0
        "b2af16332be83f012fb1cadab190d9b3e5faa527752b413d96012d80ec58eb19",  # baseline@1.1.0
        "0f8a76e2124c7682a8d762a2cb51d43a4dcbd2a66177da4ddc31d658197b2890",  # baseline@1.2.0
        "f000da0ab0198497204f514a72f897da14b73fc0b80ecba8978a39fc3ab9dab1",  # baseline@2.0.0
        "a4377ab24822e8fe5ed7ca3622fb875ce586820873b9a0e3ce4878ceb3dcbc89",  # break
        "1afef87412c146d1f396ad3ac6859bb4864b22869c7c91a7c9259ce1b1354b55",  # head-injury
        "dfe887665f16133bf5a9af1a2ad228718d5ab09afa01bd9e5dddf3904137e96a",  # heart-or-chest
        "e9dd08572f89c289e1342aa8319018776ef65ef26ee87b661e3936aee65a1ffe",  # illness
        "b3492d6b0d99de979d3aa224f451617c13e53497098f44c2b44359b34253943c",  # leg-clot
        "663c07b9161d68f277175c6aa59fa9f52ad680e24a8faf04d054004f64640a15",  # muscle-breakdown
        "7020953f3e07852e3d4838320a027c90c3599bda9942c7bcbc7a30c1d1667ff2",  # numbness-or-weakness
        "50852bb2511a046606ee46088a0a1a8c0d658848f0f40f8ec4ae3fc3d6b55e89",  # pain
        "c3d9fcaafa5126301a25cfb1ac99fdaa7c4eed151aa18e96289864ee279266f5",  # severe-swelling
    }
)


def is_published(data: bytes) -> bool:
    """Tell whether a file has the bytes of one that was published and checked."""
    return hashlib.sha256(data).hexdigest() in _PUBLISHED
