"""Thermal growth on the Record page: what is typed for each row of feet, and the target that follows from it."""

from __future__ import annotations

from dashboard.components import elements as html
from dashboard.components.pieces import Child, note
from dashboard.components.record_field import Texts, chosen, fields_row, folded, group, said_slot, typed
from dashboard.views.record_fields import rows_of
from dashboard.views.record_growth import FIELD, OWN, SIDES, alpha_text, alpha_unit, material_name
from dashboard.words import say
from models.maths.growth import MATERIALS
from models.units import Display, Quantity
from models.values.asset import Asset


def growth_part(fields: Texts, asset: Asset, display: Display) -> html.Details:
    """Put the fields from which the target is worked out, folded away until something is typed into them.

    Parameters
    ----------
    fields : dict of str to str
        The form. [as typed]
    asset : Asset
        The machine, with its rows of feet. [as stored]
    display : Display
        Units of plain numbers. [unitless]
    """
    rows: list[Child] = [
        _row(side, row, fields, display) for side in SIDES for row in range(1, rows_of(asset, fields, side) + 1)
    ]
    sources = "; ".join(dict.fromkeys(material.source for material in MATERIALS))
    return folded(
        say("record.growth"),
        note(say("record.growth.note")),
        note(say("record.growth.caution"), strong=True),
        *rows,
        note(say("record.growth.materials", sources=sources)),
        said_slot(FIELD),
        open_=any(text and name.startswith(f"{FIELD}.") for name, text in fields.items()),
    )


def _row(side: str, row: int, fields: Texts, display: Display) -> html.Fieldset:
    name, unit = f"{FIELD}.{side}.{row}", display.unit(Quantity.TEMPERATURE)
    per = alpha_unit(display)
    materials = [("", say("record.growth.material.open")), (OWN, say("record.growth.material.own"))]
    materials += [
        (material_name(number), say("record.growth.material.one", name=one.name, alpha=alpha_text(one.alpha_per_k, display), unit=per))
        for number, one in enumerate(MATERIALS)
    ]  # fmt: skip
    return group(
        say(f"record.row.{side}", row=row),
        fields_row(
            chosen(f"{name}.material", say("record.growth.material"), materials, fields, wide=True),
            typed(f"{name}.alpha", say("record.growth.own"), fields, unit=per),
            typed(f"{name}.height", say("record.growth.height.long"), fields, unit=display.unit(Quantity.DISTANCE)),
            typed(f"{name}.cold", say("record.growth.cold.long"), fields, unit=unit),
            typed(f"{name}.hot", say("record.growth.hot.long"), fields, unit=unit),
            typed(f"{name}.up", say("record.growth.up"), fields, unit=display.unit(Quantity.OFFSET)),
            typed(f"{name}.right", say("record.growth.right"), fields, unit=display.unit(Quantity.OFFSET)),
        ),
    )
