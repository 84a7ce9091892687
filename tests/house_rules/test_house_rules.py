"""Every example of every rule of our office holds."""

import pytest

from house_rules import RULES
from onebond.testing import prove


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)
def test_rule(rule):
    prove(rule)
