"""Faults that only show as a design is worked out name the file and a key of it."""

from __future__ import annotations

import pytest

from solarcalc.basis.errors import InputError
from solarcalc.design import open_design


@pytest.mark.parametrize(("changes", "key"), [
    ({"programme": {"crew": 1}}, "programme.crew"),
    ({"module": {"cells_in_series": 108}}, "module.cells_in_series"),
    ({"module": {"gamma_pmax_pct_per_k": -0.05}}, "module.gamma_pmax_pct_per_k"),
    ({"battery": {"unit_capacity_ah": 1e-9}}, "battery.unit_capacity_ah"),
])
def test_a_fault_of_a_stage_names_the_file_and_a_key(changes: dict[str, dict[str, float]],
                                                     key: str) -> None:  # fmt: skip
    with pytest.raises(InputError) as caught:
        _ = open_design("valley-workshop", changes).all_checks
    for fault in caught.value.faults:
        assert fault.where.startswith(f"valley-workshop.toml: {key} ("), fault.where
