"""Canonical bytes of a record and their hash: what two programs must agree on to the last bit."""

from fleet.evidence.canonical import LONGEST_NUMBER, canonical_bytes, sha256_hex
