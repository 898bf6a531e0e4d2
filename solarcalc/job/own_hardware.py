"""What holds the site's own array, not the filled roof: for the bill."""

from __future__ import annotations

from solarcalc.job.array import standing
from solarcalc.job.opening import Job
from solarcalc.roof.hardware import Hardware, hardware_of
from solarcalc.roof.packing import RoofFit, RowPlace


def own_hardware(job: Job) -> Hardware:
    """Rails, clamps and feet of as many modules as the site has, in its number of rows.

    Rows are taken whole and as even as can be; a row that a box on the roof breaks into parts
    takes a few more end clamps and feet than are counted here.
    """
    site, stands = job.site, standing(job)
    up, rows = stands.rows.modules_up, site.array.rows
    columns, odd = divmod(site.array.module_count, up)
    each, more = divmod(columns, rows)
    places = [
        RowPlace(along_m=0.0, across_m=row * stands.pitch_m, modules_along=each + (row < more),
                 modules_up=up, row=row)
        for row in range(rows) if each + (row < more)
    ]  # fmt: skip
    if odd:
        places.append(RowPlace(along_m=0.0, across_m=0.0, modules_along=odd, modules_up=1, row=0))
    fit = RoofFit(rows=stands.rows, pitch_m=stands.pitch_m, places=tuple(places), turn_deg=0.0)
    return hardware_of(fit, site.module, site.rails)
