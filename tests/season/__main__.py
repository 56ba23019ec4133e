"""A simulated season: ``python -m tests.season [--athletes 200] [--days 365] [--seed 1]``.

Prints the shares of train, swap and rest by kind of athlete, and how often each promise was looked
at; exits with 1 and the list of days where one was not kept.
"""

from __future__ import annotations

import sys
from argparse import ArgumentParser

from tests.season.kinds import KINDS
from tests.season.squad import simulate, table

MOST = 6


def main() -> int:
    parser = ArgumentParser(prog="python -m tests.season", description=__doc__)
    parser.add_argument("--athletes", type=int, default=200)
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    simulated = simulate(args.athletes, args.days, args.seed)
    print("\n".join(table(simulated.shares())))
    print("\nheld back most by:")
    for kind in KINDS:
        often = simulated.reasons(kind.name).most_common(MOST)
        print(f"  {kind.name:12} {', '.join(f'{rule} {days}' for rule, days in often)}")
    print("\nlooked at:")
    for what, times in sorted(simulated.seen().items()):
        print(f"  {what:24} {times:7}")
    broken = simulated.broken()
    print(f"\npromises not kept: {len(broken)}")
    for line in broken:
        print(f"  {line}")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
