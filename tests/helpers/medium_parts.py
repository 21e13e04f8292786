"""What the search needs of a case too large to enumerate."""

import pyarrow as pa

from tests.helpers.flown_as_aimed import allowed, plan_data, plan_rules
from tests.helpers.small_cases import medium_case


def medium_parts():
    study, table, targets = medium_case()
    usable = table.filter(pa.array(allowed(study, table).mask))
    data = plan_data(study, usable, targets)
    return data, plan_rules(study, usable, data)
