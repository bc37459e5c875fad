"""How fast 1,000 measurements settle; run with ``pytest tests/benchmarks --benchmark-only``."""

from __future__ import annotations

import numpy as np
import pytest

from fitcalc.consensus import Agreement, Measurement, settle


def measurements(wrong: float, members: int) -> list[Measurement]:
    """A thousand, a share ``wrong`` of them off by some tenths, by ``members`` members."""
    rng = np.random.default_rng(4)
    u = rng.uniform(0.02, 0.1, 1000)
    values = 50.0 + rng.normal(0.0, 0.7 * u)
    values += np.where(rng.random(1000) < wrong, rng.normal(0.0, 0.5, 1000), 0.0)
    return [
        Measurement(value, doubt, i % members, "calliper")
        for i, (value, doubt) in enumerate(zip(values.tolist(), u.tolist(), strict=True))
    ]


@pytest.mark.parametrize(
    ("wrong", "members", "agreement"),
    [
        (0.0, 1000, Agreement.AGREED),
        (0.1, 1000, Agreement.OUTLIERS),
        (0.4, 1000, Agreement.OUTLIERS),
        (0.1, 300, Agreement.AGREED),
    ],
)
def test_a_thousand_measurements_settle_in_under_5_ms(benchmark, wrong, members, agreement) -> None:
    consensus = benchmark(settle, measurements(wrong, members))
    assert consensus.agreement is agreement
    assert len(consensus.scores) == 1000
    assert benchmark.stats.stats.min < 0.005
