"""Slider panels of the workbooks: each draws a changed design."""

from __future__ import annotations

from matplotlib.figure import Figure

from solarcalc import figures, page
from solarcalc.design import Design
from solarcalc.stages.array import standing
from solarcalc.stages.electrical import options_of
from solarcalc.views import orientation


def explore_pitch(design: Design) -> None:
    """Drag tilt and azimuth; see the energy against the pitch in both orientations."""
    from solarcalc.views import arrays_tried  # brings in a compiler: not before it is wanted

    array = design.site.array
    if array.mounting == "flush":
        return

    def draw(tilt_deg: float, azimuth_deg: float) -> Figure:
        tried = design.changed(
            {"array": {"tilt_deg": tilt_deg, "azimuth_deg": azimuth_deg, "row_pitch_m": None}}
        )
        curve = arrays_tried.energy_by_pitch(tried)
        rules_m: dict[str, float | None] = {
            way: standing(tried, way).rule_m for way in orientation.ORIENTATIONS
        }
        return figures.draw_energy_by_pitch(curve, rules_m)

    steepest = 45.0
    page.explore(draw, live=True,
                 tilt_deg=(5.0, steepest, 1.0, min(max(array.tilt_deg, 5.0), steepest)),
                 azimuth_deg=(0.0, 355.0, 5.0, min(5.0 * round(array.azimuth_deg / 5.0), 355.0)))


def explore_roof(design: Design) -> None:
    """Drag tilt and pitch; see what fits on the roof in both orientations."""
    site = design.site
    steepest = 45.0
    if site.array.mounting == "flush":
        page.say("These modules lie flush with the roof: tilt and pitch have no effect with this"
                 " mounting.")

    def draw(tilt_deg: float, row_pitch_m: float) -> Figure:
        tried = design.changed(
            {"array": {"tilt_deg": tilt_deg, "row_pitch_m": row_pitch_m or None}}
        )
        variants = orientation.compare_orientations(tried)
        return figures.draw_roof_fits(
            {name: variant.fit for name, variant in variants.items()}, site.roof
        )

    page.explore(
        draw, tilt_deg=(0.0, steepest, 1.0, min(site.array.tilt_deg, steepest)),
        row_pitch_m={"as designed": 0.0, **{f"{p:.2f} m": p for p in (2.5, 3.0, 4.0, 5.0)}},
    )


def explore_yield(design: Design) -> None:
    """Drag tilt and azimuth; see the losses in order."""
    array = design.site.array

    def draw(tilt_deg: float, azimuth_deg: float) -> Figure:
        tried = design.changed({"array": {"tilt_deg": tilt_deg, "azimuth_deg": azimuth_deg}})
        return figures.draw_loss_steps(tried.energy)

    page.explore(draw, tilt_deg=(0.0, 60.0, 1.0, min(array.tilt_deg, 60.0)),
                 azimuth_deg=(0.0, 355.0, 5.0, min(5.0 * round(array.azimuth_deg / 5.0), 355.0)))


def explore_battery(design: Design) -> None:
    """Choose the bank and the array; see the hardest week."""
    array, battery = design.site.array, design.site.battery

    def draw(units_in_parallel: int, strings: int) -> Figure:
        tried = design.changed({
            "battery": {"units_in_parallel": units_in_parallel},
            "array": {"module_count": strings * array.modules_in_series},
        })  # fmt: skip
        return figures.draw_worst_week(tried.supply)

    strings = array.string_count
    page.explore(
        draw,
        units_in_parallel=(1, min(battery.units_in_parallel * 3, 50), 1, battery.units_in_parallel),
        strings=(1, strings * 3, 1, strings),
    )


def explore_cables(design: Design) -> None:
    """Drag length and ambient of the main run; see what each size costs over the life."""
    own = design.electrical.run("dc_main").run

    def draw(length_m: float, ambient_c: float) -> Figure:
        options, safe_mm2, chosen = options_of(
            design.electrical, "dc_main", length_m=length_m, ambient_c=ambient_c
        )
        return figures.draw_cable_sizes(
            options, safe_mm2, chosen, currency=design.site.costs.currency
        )

    page.explore(draw, length_m=(2.0, max(4.0 * own.length_m, 40.0), 1.0, own.length_m),
                 ambient_c=(10.0, 55.0, 1.0, min(max(round(own.ambient_c), 10.0), 55.0)))


def explore_rods(design: Design) -> None:
    """Choose rods and their length; see the electrode."""
    own = design.site.earthing

    def draw(rod_count: int, rod_length_m: float) -> Figure:
        tried = design.changed({"earthing": {
            "electrode": "rods", "rod_count": rod_count, "rod_length_m": rod_length_m,
            "rod_spacing_m": max(own.rod_spacing_m, rod_length_m),
        }})  # fmt: skip
        return figures.draw_electrode(tried.earth)

    page.explore(draw, rod_count=(1, 12, 1, own.rod_count),
                 rod_length_m=(1.2, 6.0, 0.3, min(max(own.rod_length_m, 1.2), 6.0)))


def explore_crew(design: Design) -> None:
    """Drag the crew; see the days."""
    own = design.site.programme.crew

    def draw(crew: int) -> Figure:
        return figures.draw_programme(design.changed({"programme": {"crew": crew}}).programme)

    page.explore(draw, crew=(2, max(10, own), 1, own))
