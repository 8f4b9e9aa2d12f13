"""What an evaluation says: findings first, by their rank; the strictest; plain data."""

import pytest

from fleet.limits import Verdict, Verdicts
from fleet.limits.verdicts import COPIED, OUTCOMES, in_order

FIELDS = dict.fromkeys(Verdict.__dataclass_fields__)


def verdict(outcome, rank=0, **more):
    return Verdict({**FIELDS, "outcome": outcome, "rank": rank, "stop": False, **more})


def test_findings_come_first_by_rank_and_otherwise_the_order_is_kept():
    given = [verdict("within", 9), verdict("not_judged", 1), verdict("outside", 1), verdict("cannot_tell", 2),
             verdict("outside", 7, limit_id="a"), verdict("not_judged", 3),
             verdict("outside", 7, limit_id="b")]  # fmt: skip
    said = [(each.outcome, each.rank, each.limit_id) for each in in_order(given)]
    assert said == [
        ("outside", 7, "a"), ("outside", 7, "b"), ("outside", 1, None), ("cannot_tell", 2, None),
        ("not_judged", 3, None), ("not_judged", 1, None), ("within", 9, None),
    ]  # fmt: skip
    assert OUTCOMES == ("outside", "cannot_tell", "not_judged", "within")


def test_the_strictest_is_the_first_finding_and_there_may_be_none():
    fired = verdict("outside", 5, stop=True)
    both = Verdicts((fired, verdict("within")))
    assert (both.findings, both.strictest, both.stop) == ((fired,), fired, True)
    none = Verdicts((verdict("within"), verdict("not_judged")))
    assert (none.findings, none.strictest, none.stop) == ((), None, False)
    assert both.as_json() == {"stop": True, "strictest": 0, "verdicts": [fired.as_json(), verdict("within").as_json()]}
    assert none.as_json()["strictest"] is None
    assert none.as_json()["stop"] is False


def test_plain_data_is_a_copy():
    made = verdict("within")
    Verdicts((made,)).as_json()["verdicts"][0]["outcome"] = "other"
    assert made.outcome == "within"


def test_a_verdict_lacks_no_field_and_is_never_changed():
    with pytest.raises(ValueError, match=r"^fields must be reading_key, rate, .*, not outcome$"):
        Verdict({"outcome": "within"})
    made = verdict("within", label=["co", {}])
    assert (made.label, list(made.as_json()), made.outcome) == (["co", {}], list(FIELDS), "within")
    with pytest.raises(AttributeError):
        made.outcome = "outside"
    with pytest.raises(AttributeError):
        Verdicts(()).verdicts = ()


def test_what_a_verdict_takes_from_its_row_are_fields_of_its_own():
    assert set(COPIED) <= set(FIELDS)
    assert len(COPIED) == len(set(COPIED)) == 21
