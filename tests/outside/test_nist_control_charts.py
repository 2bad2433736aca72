"""Control charts against the worked examples of the NIST/SEMATECH e-Handbook.

Sections 6.3.2.2 (individuals: ten batches of a liquid's flow) and 6.3.2.4 (EWMA: twenty
values, target 50, s = 2.0539).  Data and results are from memory of the handbook; they agree
with each other to the last digit printed.
"""

from __future__ import annotations

import pytest

from chatter.runin.charts import ControlLimits, ewma, ewma_spread, moving_range_sigma

FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
EWMA_DATA = [
    *(52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5),
    *(49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1),
]
EWMA_PRINTED = [
    *(50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33),
    *(50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99),
]


def test_individuals_chart_of_section_6_3_2_2():
    found = ControlLimits.about(sum(FLOW) / len(FLOW), 3.0 * moving_range_sigma(FLOW))
    assert found.centre == pytest.approx(50.81, abs=5e-5)
    assert found.high == pytest.approx(55.8041, abs=5e-5)
    assert found.low == pytest.approx(45.8159, abs=5e-5)


def test_ewma_chart_of_section_6_3_2_4():
    limits = ControlLimits.about(50.0, 3.0 * 2.0539 * ewma_spread(0.3))
    # The handbook rounds the root of 0.3 / 1.7 to .4201, which moves the limits by 2e-4.
    assert limits.high == pytest.approx(52.5884, abs=5e-4)
    assert limits.low == pytest.approx(47.4115, abs=5e-4)
    # Printed to two digits; one value is rounded up from a five in the third.
    assert ewma(EWMA_DATA, 50.0, 0.3) == pytest.approx(EWMA_PRINTED, abs=0.0061)
