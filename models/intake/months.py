"""Names of the months."""

from __future__ import annotations

import unicodedata

_MONTHS = (
    "january januar janner janvier", "february februar feber fevrier febrero febbraio fevereiro", "march marz mars marzo marco marts mrz",
    "april avril aprile", "may mai mayo maio", "june juni juin junio junho", "july juli juillet julio julho", "august aout augustus augusti",
    "september septembre septiembre septembro", "october oktober octobre octubre", "november novembre noviembre novembro",
    "december dezember decembre dezembro",
)  # fmt: skip
"""Names of the months, without accents, in English, German and French, and those of their neighbours that begin alike.

Three letters and more of a name stand for it where no other month begins so ('jui' may be juin or juillet).  By its beginning alone 'Junk' would be June, and
the Finnish name of November March.  'Mrz' is what German spreadsheets write.
"""


def month_of(name: str) -> int | None:
    """Give the month of a name or its beginning; ``None`` where it is none."""
    letters = unicodedata.normalize("NFD", name.lower())
    plain = "".join(letter for letter in letters if not unicodedata.combining(letter))
    found = [
        number for number, names in enumerate(_MONTHS, start=1) if any(one.startswith(plain) for one in names.split())
    ]
    return found[0] if len(found) == 1 else None
