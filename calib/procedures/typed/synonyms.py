"""Words that people head columns with. Common practice, no source.

They are proposed, never taken: Meter may be an instrument, a tag, or the unit of length.
"""

from collections.abc import Iterable, Mapping

from calib.procedures.typed.spelling import name_meant, spelled_alike

# Column -> words that people head it with, without spaces and capitals.
_ALSO: Mapping[str, tuple[str, ...]] = {
    "outlet": ("grille", "grilleno", "diffuser", "terminal", "register", "outletno", "outletid", "airoutlet", "ref"),
    "instrument": ("meter", "tool", "anemometer", "device", "instrumentid", "metertag"),
    "observed_at": ("date", "time", "datetime", "measuredon", "measuredat", "timestamp", "when", "day"),
    "observations": ("velocity", "measured", "measuredvelocity", "measuredflow", "values", "readings", "actual"),
    "indication": ("mean", "average", "avg"),
    "operator": ("technician", "tech", "engineer", "testedby", "measuredby", "by", "tester", "name"),
    "remarks": ("comment", "comments", "notes", "note", "remark"),
    "method": ("procedure", "how"),
    "job": ("project", "jobno", "projectno", "jobnumber", "contract"),
    "system": ("ahu", "unitname", "plant", "fan"),
    "service": ("type", "supplyreturn", "air"),
    "design_flow": ("design", "designairflow", "spec", "required", "designvolume"),
    "flow_unit": ("units",),
    "unit": ("units", "uom"),
    "tag": ("instrumentid", "assetno", "asset", "id", "equipmentno", "instrument", "meter"),
    "maker": ("manufacturer", "make", "brand"),
    "serial": ("serialno", "sn", "serialnumber"),
    "certificate": ("certificateno", "certno", "cert", "certificatenumber"),
    "laboratory": ("lab", "calibratedby"),
    "calibrated_on": ("calibrationdate", "caldate", "datecalibrated"),
    "due_on": ("duedate", "nextcal", "due", "calibrationdue"),
    "interval_months": ("interval", "calinterval"),
    "tolerance_percent": ("tolerance", "tol"),
    "outlet_factor_source": ("source", "factorsource"),
    "width": ("w",),
    "height": ("h",),
    "diameter": ("dia", "\u00f8"),
}


def column_meant(heading: str, columns: Iterable[str]) -> str | None:
    """The column that a heading seems to mean, by its name, by what people call it, or by a slip of typing."""
    columns, spelled = tuple(columns), spelled_alike(heading)
    for column in columns:
        if spelled == spelled_alike(column) or spelled in _ALSO.get(column, ()):
            return column
    return name_meant(heading, columns)
