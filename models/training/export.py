"""Turn tuned weights into a CTranslate2 int8 model.

python export.py --model UNTUNED_FOLDER --tuned OUT/tuned.pt --out FOLDER [--share 0.7]
"""

from __future__ import annotations

import argparse
import hashlib
from pathlib import Path

import weights


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--model", type=Path, required=True, help="folder of the untuned model")
    parser.add_argument("--tuned", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--share", type=float, default=1.0, help="of the way to the tuned weights")
    options = parser.parse_args()
    network = weights.tuned(options.model, options.tuned, options.share)
    weights.save(network, options.out, options.model)
    made = options.out / "model.bin"
    digest = hashlib.sha256(made.read_bytes()).hexdigest()
    print(f"{made}: {made.stat().st_size / 1e6:.1f} MB, SHA-256 {digest}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
