"""What the service is measured by. Each module here with `figures() -> list[dict]` is one benchmark; `make bench` runs
them all.

A figure is a dict:

| key | meaning |
|---|---|
| name | "combustion.states": its first word is one of `form.SUBJECTS` |
| value, unit | what was measured on this machine |
| ratio_to | the peer that was measured in the same run, in words; absent or None without one |
| ratio | how many times better than that peer: 2.0 is twice as many a second, or half the time |
| goal, met | the goal in words or as a number and whether it was met; both absent or None without one |
"""
