"""Words that people head columns with. Common practice, no source.

They are proposed, never taken: Meter may be an instrument, a tag, or the unit of length.
"""

import re
from collections.abc import Iterable, Mapping

from calib.procedures.typed.spelling import name_meant, spelled_alike

# Column -> words that people head it with, without spaces and capitals.
_ALSO: Mapping[str, tuple[str, ...]] = {
    "outlet": ("grille", "diffuser", "terminal", "register", "airoutlet", "ref"),
    "instrument": ("meter", "tool", "anemometer", "device"),
    "observed_at": ("date", "time", "datetime", "measuredon", "measuredat", "timestamp", "when", "day"),
    "observations": ("velocity", "measured", "measuredvelocity", "measuredflow", "values", "readings", "actual"),
    "indication": ("mean", "average", "avg", "indicated", "displayed", "shown", "uut", "dut", "instrumentreading"),
    "reference": ("standard", "referencevalue", "refvalue", "truevalue", "applied", "nominal"),
    "expanded_uncertainty": ("u", "uk2", "uncertainty", "uncertaintyk2", "expandeduncertaintyk2"),
    "coverage_factor": ("k", "kfactor", "coverage"),
    "operator": ("technician", "tech", "engineer", "testedby", "measuredby", "by", "tester", "name"),
    "remarks": ("comment", "comments", "notes", "note", "remark"),
    "method": ("procedure", "how"),
    "job": ("project", "contract"),
    "system": ("ahu", "plant", "fan"),
    "service": ("type", "supplyreturn", "air"),
    "design_flow": ("design", "designairflow", "spec", "required", "designvolume"),
    "flow_unit": ("units",),
    "unit": ("units", "uom"),
    "tag": ("asset", "id", "equipment", "instrument", "meter"),
    "kind": ("type", "description", "kindofinstrument", "instrumenttype"),
    "range_low": ("range", "measuringrange", "rangefrom", "rangemin", "min"),
    "range_high": ("rangeto", "rangemax", "max"),
    "resolution": ("res", "readability", "smalleststep"),
    "custodian": ("owner", "heldby", "keptby", "assignedto"),
    "location": ("keptat", "where", "store"),
    "maker": ("manufacturer", "make", "brand"),
    "serial": ("sn",),
    "certificate": ("cert",),
    "laboratory": ("lab", "calibratedby"),
    "calibrated_on": ("calibrationdate", "caldate", "datecalibrated"),
    "due_on": ("duedate", "nextcal", "due", "calibrationdue"),
    "interval_months": ("interval", "calinterval", "calibrationinterval", "frequency"),
    "mpe_percent": ("accuracy", "mpe", "maximumpermissibleerror", "permissibleerror"),
    "tolerance_percent": ("tolerance", "tol"),
    "outlet_factor_source": ("source", "factorsource"),
    "width": ("w",),
    "height": ("h",),
    "diameter": ("dia", "\u00f8"),
}


_NUMBERED = re.compile(r"(?<=.)(?:no|nr|id|tag|number|name)$")  # behind a word: Grille No.


def column_meant(heading: str, columns: Iterable[str]) -> str | None:
    """The column that a heading seems to mean, by its name, by what people call it, or by a slip of typing."""
    columns = tuple(columns)
    for spelled in dict.fromkeys((spelled_alike(heading), _NUMBERED.sub("", spelled_alike(heading)))):
        for column in columns:
            if spelled == spelled_alike(column) or spelled in _ALSO.get(column, ()):
                return column
    return name_meant(heading, columns)
