"""`python -m tests.drying.checks [LINE …]`: prints every row with its source, figure and bound.

LINE is the beginning of a line's name; all lines where none is given. Ends with 1 where a row fails.
"""

import sys

from tests.drying.checks import joints
from tests.drying.checks.table import LINES


def main(asked: list[str]) -> int:
    """Run what was asked for; the number of the process's exit."""
    wanted = [name for name in LINES if not asked or name.startswith(tuple(asked))]
    if not wanted:
        print(f"no line begins so; there are: {', '.join(LINES)}", file=sys.stderr)
        return 2
    passed = failed = 0
    for name in wanted:
        print(f"\n{name}")
        for row in LINES[name]():
            passed, failed = passed + row.passed, failed + (not row.passed)
            mark = "pass" if row.passed else "FAIL"
            print(
                f"  {mark}  {row.case}: {row.got}; wanted {row.wanted} within {row.bound} [{row.source}]",
                flush=True,
            )
        if name == "a whole joint strip":
            print("\n  Errors of the times to 10 % / 5 %, over the table and over the elements here:")
            for line in joints.stations_table():
                print(f"  {line}")
    print(f"\n{passed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
